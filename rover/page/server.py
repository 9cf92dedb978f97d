"""The page's process: serves the files of the page, shows each viewer what there is to see, and takes what they want.

Every request is looked at in this order: whether a page of another site made it, whether the token is right, whether
there is such a thing to ask for. Only a stop needs no token. What is asked for goes to the runtime, which alone
decides; a stop goes to the motor guard as well, straight from here, so that it counts though the runtime hangs.
"""

import asyncio
import contextlib
import json
import socket
import time
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from typing import Any

from aiohttp import WSMsgType, web

from rover.page.access import RateLimit, bearer, is_foreign, is_right
from rover.page.board import Board, Seen
from rover.page.channel import Channel
from rover.page.driver import Driver

STATIC = Path(__file__).parent / "static"
MOST_VIEWERS = 24
FIRST_WORD_S = 5.0
"""So long a viewer has for saying who it is; and so long for taking what it is sent, or it is taken to be gone."""
STALLED_S = 5.0
STOP_WITHIN_S = 2.0
LAST_WORD_S = 0.5
WRONG_TOKENS, ACTS, PER_S = 5, 40, 10.0
"""So many wrong tokens and so many acts from one address in so many seconds."""
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
WRONG_TOKEN = "the token is missing or wrong; open the page by the address that the runtime shows"
Stop = Callable[[str], str]
"""Stops the robot past the runtime, for a cause; returns what came of it. It may take a moment."""


class RefusedError(Exception):
    """A request is refused: the HTTP status, and why in a line."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status = status


class PageServer:
    """Serves one run.

    Args:
        channel: to the runtime.
        token: without which nobody acts.
        stop: past the runtime; None where there is nothing but the runtime to stop, as in a rehearsal.
        may_read: anyone may watch, without a token.
    """

    def __init__(self, channel: Channel, token: str, stop: Stop | None, *, may_read: bool = False) -> None:
        self._channel, self._token, self._stop, self._may_read = channel, token, stop, may_read
        self._board = Board()
        self._viewers: set[asyncio.Event] = set()
        self._wrong, self._acts = RateLimit(WRONG_TOKENS, PER_S), RateLimit(ACTS, PER_S)
        self._stopping: asyncio.Future[str] | None = None
        self._ended = asyncio.Event()
        self._numbers = 0

    def application(self) -> web.Application:
        """Return what answers requests."""
        application = web.Application(client_max_size=1024, middlewares=[web.middleware(_guarded)])
        for method, path, handler in (
            ("GET", "/", self._index),
            ("GET", "/live", self._live),
            ("POST", "/stop", self._stop_asked),
            ("POST", "/act/{act}", self._act_asked),
        ):
            application.router.add_route(method, path, handler, expect_handler=_expect_nothing)
        application.router.add_static("/static", STATIC, expect_handler=_expect_nothing)
        application.router.add_route("*", "/{any:.*}", _nowhere, expect_handler=_expect_nothing)
        return application

    async def serve(self, listening: socket.socket) -> None:
        """Serve until the runtime is gone."""
        runner = web.AppRunner(self.application(), access_log=None, shutdown_timeout=LAST_WORD_S)
        await runner.setup()
        try:
            await web.SockSite(runner, listening).start()
            asyncio.get_running_loop().add_reader(self._channel.descriptor, self._listen)
            await self._ended.wait()
            await asyncio.sleep(LAST_WORD_S)  # for the viewers to be told
        finally:
            await runner.cleanup()

    def _listen(self) -> None:
        """Take in what the runtime says."""
        for message in self._channel.receive():
            self._board.take(message)
        if self._channel.is_closed:
            self._board.end("the runtime is gone")
            asyncio.get_running_loop().remove_reader(self._channel.descriptor)
            self._ended.set()
        for viewer in self._viewers:
            viewer.set()

    def _tell(self, **facts: object) -> None:
        self._channel.send(json.dumps(facts).encode())

    async def _index(self, _request: web.Request) -> web.StreamResponse:
        return web.FileResponse(STATIC / "index.html")

    async def _stop_asked(self, request: web.Request) -> web.StreamResponse:
        """Stop. Whoever reaches the page may; many at once are one."""
        _refuse_foreign(request)
        whose = request.remote or "somebody"
        self._tell(word="stop", whose=whose)
        if self._stop is None:
            return _said(202, "a stop is asked for")
        if self._stopping is None or self._stopping.done():
            stop = partial(self._stop, f"stopped at the page by {whose}")
            self._stopping = asyncio.get_running_loop().run_in_executor(None, stop)
        try:
            return _said(200, await asyncio.wait_for(asyncio.shield(self._stopping), STOP_WITHIN_S))
        except Exception as error:
            raise RefusedError(409, f"NOT STOPPED by the page: {error}") from error

    async def _act_asked(self, request: web.Request) -> web.StreamResponse:
        """Pass on what somebody wants; whether it is done is seen, not answered."""
        _refuse_foreign(request)
        act, whose, now_s = request.match_info["act"], request.remote or "", time.monotonic()
        why = self._why_wrong(whose, bearer(request.headers.get("Authorization", "")))
        if why is not None:
            raise why
        if act not in self._board.acts:
            raise RefusedError(404, f"there is nothing called '{act}' to ask for here")
        if self._acts.is_over(whose, now_s):
            raise RefusedError(429, "too much is asked for at once; wait a little")
        self._acts.count(whose, now_s)
        if self._board.has_ended:
            raise RefusedError(409, "the run has ended")
        self._tell(word=act.replace("-", " "), whose=whose)
        return _said(202, f"{act} is asked for")

    def _why_wrong(self, whose: str, token: str) -> RefusedError | None:
        """Return why a token is not taken, None for the right one, which counts at any time."""
        if is_right(self._token, token):
            return None
        now_s = time.monotonic()
        if self._wrong.is_over(whose, now_s):
            return RefusedError(429, "too many wrong tokens; wait a little")
        self._wrong.count(whose, now_s)
        return RefusedError(401, WRONG_TOKEN)

    async def _live(self, request: web.Request) -> web.StreamResponse:
        """Show a viewer all there is, as long as it stays."""
        _refuse_foreign(request)
        if len(self._viewers) >= MOST_VIEWERS:
            raise RefusedError(429, f"{MOST_VIEWERS} are watching already")
        viewer = web.WebSocketResponse(heartbeat=STALLED_S, max_msg_size=1024, compress=False)
        if not viewer.can_prepare(request).ok:
            raise RefusedError(426, "this is for the page's own connection")
        await viewer.prepare(request)
        news = asyncio.Event()
        self._viewers.add(news)
        try:
            token = await _first_word(viewer)
            why = self._why_wrong(request.remote or "", token)
            if why is None or (self._may_read and not token):
                await viewer.send_json({"kind": "you", "may_act": why is None})
                self._numbers += 1
                await self._attend(viewer, news, Driver(self._numbers, request.remote or "") if why is None else None)
            else:
                await viewer.send_json({"kind": "refused", "text": str(why)})
        except ConnectionError:
            pass
        finally:
            self._viewers.discard(news)
            self._tell(viewers=len(self._viewers))
        return viewer

    async def _attend(self, viewer: web.WebSocketResponse, news: asyncio.Event, driver: Driver | None) -> None:
        """Show the viewer what there is, until it goes or takes nothing any more; pass on how it drives, if it may."""
        self._tell(viewers=len(self._viewers))
        showing = asyncio.create_task(self._show(viewer, news))
        try:
            async for message in viewer:
                if message.type is not WSMsgType.TEXT:
                    return
                if driver is not None and self._board.drives and (push := driver.push(message.data)):
                    self._tell(**push)
        finally:
            if driver is not None and self._board.drives:
                self._tell(**driver.let_go())
            showing.cancel()

    async def _show(self, viewer: web.WebSocketResponse, news: asyncio.Event) -> None:
        """Send what is new as long as it is taken; who takes nothing for a while is let go."""
        seen = Seen()
        news.set()
        with contextlib.suppress(TimeoutError, ConnectionError):
            while not viewer.closed:
                await news.wait()
                news.clear()
                for message in self._board.news(seen):
                    send: Any = viewer.send_str if isinstance(message, str) else viewer.send_bytes
                    await asyncio.wait_for(send(message), STALLED_S)
        await viewer.close()


async def _first_word(viewer: web.WebSocketResponse) -> str:
    """Return the token that a viewer gives first of all, '' where it gives none."""
    try:
        word = json.loads(await viewer.receive_str(timeout=FIRST_WORD_S))
        return str(word["token"])
    except (TimeoutError, ValueError, TypeError, KeyError):
        return ""


async def _expect_nothing(_request: web.Request) -> None:
    """Pass over ``Expect``: no request's body is of interest here. The library's own handler fails on odd letters."""


async def _nowhere(_request: web.Request) -> web.StreamResponse:
    raise RefusedError(404, "there is nothing here")


def _refuse_foreign(request: web.Request) -> None:
    origin = request.headers.get("Origin")
    if is_foreign(origin, request.host):
        raise RefusedError(
            403,
            f"{origin} is not this page, which is at {request.host}; a proxy in between has to pass the Host header on",
        )


def _said(status: int, text: str) -> web.Response:
    return web.json_response({"text": text}, status=status)


async def _guarded(
    request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
) -> web.StreamResponse:
    """Make an answer of every refusal, and have each answer say what a browser may do with it."""
    try:
        response = await handler(request)
    except RefusedError as refused:
        response = _said(refused.status, str(refused))
    except web.HTTPException as error:
        if error.status < 400:
            raise
        response = _said(error.status, error.reason)
    if not response.prepared:
        response.headers.update(HEADERS)
    return response
