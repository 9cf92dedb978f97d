"""The page's process as anyone in the network may meet it: real requests at a real server, well meant and otherwise."""

import asyncio
import json
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection, HTTPResponse
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.page.channel import Channel, pair

server = pytest.importorskip("rover.page.server", reason="needs aiohttp: pip install -e '.[page]'")
aiohttp = pytest.importorskip("aiohttp", reason="needs aiohttp: pip install -e '.[page]'")

TOKEN = "the-right-token-of-this-test"
RIGHT = {"Authorization": f"Bearer {TOKEN}"}
ACTS = ["hold", "go-on"]


class Served(NamedTuple):
    """A server on a port, the runtime's end of its channel, and the causes of the stops that went past that."""

    port: int
    channel: Channel
    stops: list[str]

    def ask(self, method: str, path: str, headers: dict[str, str] | None = None, body: bytes | None = None) -> int:
        return self.answer(method, path, headers, body).status

    def answer(
        self, method: str, path: str, headers: dict[str, str] | None = None, body: bytes | None = None
    ) -> HTTPResponse:
        connection = HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request(method, path, body, headers or {})
            response = connection.getresponse()
            response.read()
            return response
        finally:
            connection.close()

    def words(self) -> list[str]:
        """Return what the runtime has been asked for since the last call."""
        return [one["word"] for one in map(json.loads, self.channel.receive()) if "word" in one]

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"


@contextmanager
def serving(*, may_read: bool) -> Iterator[Served]:
    """Serve in a thread of its own, until the runtime's end of the channel is closed."""
    here, there = pair()
    stops: list[str] = []

    def stop(cause: str) -> str:
        stops.append(cause)
        return "stopped"

    listening = socket.create_server(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    made = server.PageServer(Channel(there), TOKEN, stop, may_read=may_read)
    thread = threading.Thread(target=lambda: asyncio.run(made.serve(listening)))
    thread.start()
    here.send(json.dumps({"kind": "sheet", "acts": ACTS, "title": "A run"}).encode())
    served = Served(port, here, stops)
    while served.ask("POST", "/act/hold", RIGHT) == 404:
        pass  # the sheet has not been taken in yet
    served.words()
    try:
        yield served
    finally:
        here.close()
        thread.join(20)
        there.close()


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    with serving(may_read=False) as served:
        yield served


def test_what_is_asked_for_with_the_token_reaches_the_runtime(served: Served) -> None:
    assert served.ask("POST", "/act/go-on", RIGHT) == 202
    assert served.words() == ["go on"]


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Authorization": "Bearer wrong"},
        {"Authorization": f"Basic {TOKEN}"},
        {"Authorization": TOKEN},
        {"Authorization": f"Bearer {TOKEN}x"},
        {"Cookie": f"token={TOKEN}"},
    ],
)
def test_nothing_but_a_stop_is_done_without_the_token(served: Served, headers: dict[str, str]) -> None:
    assert served.ask("POST", "/act/hold", headers) in (401, 429)
    assert served.words() == []


def test_a_stop_needs_no_token_and_goes_past_the_runtime_as_well(served: Served) -> None:
    before = len(served.stops)
    assert served.ask("POST", "/stop", {"Origin": served.origin}) == 200
    assert served.words() == ["stop"]
    assert served.stops[before:] == ["stopped at the page by 127.0.0.1"]


@pytest.mark.parametrize("path", ["/stop", "/act/hold"])
@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:1"])
def test_a_page_of_another_site_gets_nothing_done(served: Served, path: str, origin: str) -> None:
    assert served.ask("POST", path, RIGHT | {"Origin": origin}) == 403
    assert served.words() == []


def test_a_page_of_another_site_sees_nothing(served: Served) -> None:
    upgrade = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13"}
    key = {"Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA=="}
    assert served.ask("GET", "/live", upgrade | key | {"Origin": "http://evil.example"}) == 403


def test_after_many_wrong_tokens_the_right_one_still_counts(served: Served) -> None:
    answers = [served.ask("POST", "/act/hold", {"Authorization": "Bearer wrong"}) for _ in range(10)]
    assert answers[-1] == 429
    assert served.ask("POST", "/act/hold", RIGHT) == 202
    assert served.words() == ["hold"]


def test_no_other_page_may_frame_it_nor_scripts_come_from_elsewhere(served: Served) -> None:
    for path in ("/", "/static/page.js", "/nowhere"):
        headers = served.answer("GET", path).headers
        assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
        assert "script-src 'self';" in headers["Content-Security-Policy"]
        assert headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    "path", ["/static/../server.py", "/static/%2e%2e/server.py", "/static//etc/passwd", "/static/"]
)
def test_no_other_file_is_served(served: Served, path: str) -> None:
    assert served.ask("GET", path) in (403, 404)


def told(served: Served, token: object, most: int = 3) -> list[Any]:
    """Return what a viewer is told at first."""

    async def look() -> list[Any]:
        heard = []
        async with (
            aiohttp.ClientSession() as session,
            session.ws_connect(f"{served.origin}/live", headers={"Origin": served.origin}) as live,
        ):
            await live.send_str(json.dumps({"token": token}))
            while len(heard) < most and (one := await live.receive(timeout=20)).type is aiohttp.WSMsgType.TEXT:
                heard.append(json.loads(one.data))
        return heard

    return asyncio.run(look())


def test_a_viewer_with_the_token_is_shown_all_there_is(served: Served) -> None:
    assert [one["kind"] for one in told(served, TOKEN, 2)] == ["you", "sheet"]


@pytest.mark.parametrize("token", ["", "wrong", None, {"a": 1}])
def test_a_viewer_without_it_is_shown_nothing(served: Served, token: object) -> None:
    assert [one["kind"] for one in told(served, token)] == ["refused"]


def test_where_the_robot_file_says_so_anyone_may_watch_and_nothing_else() -> None:
    with serving(may_read=True) as served:
        you, sheet = told(served, "", 2)
        assert (you["may_act"], sheet["kind"]) == (False, "sheet")
        assert [one["kind"] for one in told(served, "wrong")] == ["refused"]  # who gives one means to act
        assert served.ask("POST", "/act/hold") == 401
        assert served.words() == []


METHODS = st.sampled_from(["GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH", "TRACE", "BREW"])
LETTERS = st.characters(min_codepoint=33, max_codepoint=126)
PATHS = st.one_of(
    st.sampled_from(["/", "/stop", "/live", "/act/hold", "/act/enable", "/act/", "/act/hold/x", "/static/page.js"]),
    st.text(LETTERS, max_size=60).map(lambda text: f"/{text}"),
    st.text(LETTERS, max_size=40).map(lambda text: f"/act/{text}"),
)
NAMES = st.sampled_from(
    [
        *("Authorization", "Origin", "Host", "Cookie", "Content-Type", "Expect", "Upgrade", "Connection", "Range"),
        *("If-None-Match", "Transfer-Encoding", "Sec-WebSocket-Key", "Sec-WebSocket-Version", "X-Forwarded-For"),
    ]
)
VALUES = st.one_of(
    st.sampled_from(["websocket", "Upgrade", "13", "100-continue", "bytes=5-2", "chunked", "null", "Bearer ", "*"]),
    st.text(st.characters(min_codepoint=32, max_codepoint=255, exclude_characters="\x7f"), max_size=40),
)


@given(METHODS, PATHS, st.dictionaries(NAMES, VALUES, max_size=4), st.binary(max_size=3000))
def test_whatever_is_sent_is_answered_and_nothing_is_done_without_a_token(
    served: Served, method: str, path: str, headers: dict[str, str], body: bytes
) -> None:
    lines = [f"{method} {path} HTTP/1.1", *(f"{name}: {value}" for name, value in headers.items())]
    lines += [f"Content-Length: {len(body)}", *([] if "Host" in headers else ["Host: robot"]), "Connection: close"]
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as connection:
        connection.sendall("\r\n".join([*lines, "", ""]).encode("latin-1") + body)
        connection.shutdown(socket.SHUT_WR)
        answer = connection.recv(4096)
    status = int(answer.split()[1]) if answer else 0  # none: the connection was closed on it
    assert status < 500, answer
    assert set(served.words()) <= {"stop"}
    assert served.ask("GET", "/") == 200  # and it still serves


@given(st.binary(min_size=1, max_size=2000))
def test_bytes_that_are_no_request_do_nothing(served: Served, noise: bytes) -> None:
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as connection:
        connection.sendall(noise)
        connection.shutdown(socket.SHUT_WR)
        answer = connection.recv(4096)
    assert not answer.split()[1:2] or int(answer.split()[1]) < 500
    assert served.words() == []


def test_who_asks_for_too_much_at_once_is_slowed_down_and_may_still_stop(served: Served) -> None:
    answers = [served.ask("POST", "/act/hold", RIGHT) for _ in range(50)]
    assert answers[-1] == 429
    assert len(served.words()) <= 40
    assert served.ask("POST", "/stop") == 200
