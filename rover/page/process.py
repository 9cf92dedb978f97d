"""Starting the page's process, and speaking with it: the runtime's end."""

import contextlib
import json
import os
import socket
import subprocess
import sys
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any, NamedTuple

from rover.errors import UserError, to_install
from rover.page.access import read_token, token_file
from rover.page.channel import pair

ENDS_WITHIN_S = 3.0


class Address(NamedTuple):
    """Where the page is served."""

    host: str
    port: int

    @property
    def is_loopback(self) -> bool:
        """Nobody reaches it but from this machine."""
        return self.host in ("localhost", "::1") or self.host.startswith("127.")

    def url(self, token: str = "") -> str:
        """Return what to open in a browser; what is behind ``#`` stays there."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.port}/{f'#{token}' if token else ''}"


class PageProcess:
    """The page at work. One thread; nothing waits but `close`.

    Args:
        address: where it is served.
        guard: folder of the motor guard that a stop goes to as well; None: there is none.
        may_read: anyone may watch, without a token.

    Attributes:
        address: where it is served; the port that was found, where 0 was asked for.
        token: without which nobody acts.
        viewers: how many are watching.

    Raises:
        UserError: the address is not to be had, or something is missing.
    """

    def __init__(self, address: Address, guard: Path | None, *, may_read: bool = False) -> None:
        if find_spec("aiohttp") is None:
            raise UserError(f"--page needs the package 'aiohttp': {to_install('page')}")
        self.token_file = token_file()
        self.token = read_token(self.token_file)
        self.viewers = 0
        self._channel, there = pair()
        with contextlib.closing(there), contextlib.closing(_listening(address)) as listening:
            self.address = Address(address.host, listening.getsockname()[1])
            self._process = _start(listening, there, [str(self.token_file), "yes" if may_read else "no"], guard)

    def show(self, facts: Mapping[str, Any]) -> None:
        """Tell what is worth being told sooner or later."""
        self._channel.send(_text(facts))

    def show_or_drop(self, facts: Mapping[str, Any]) -> None:
        """Tell what is worth it only now."""
        self._channel.send_or_drop(_text(facts))

    def show_picture(self, jpeg: bytes) -> None:
        """Show a picture of the camera, if there is room for it now."""
        self._channel.send_or_drop(jpeg)

    def heard(self) -> list[dict[str, Any]]:
        """Return what people at the page want, oldest first."""
        words = [json.loads(message) for message in self._channel.receive()]
        for word in words:
            self.viewers = word.get("viewers", self.viewers)
        return [word for word in words if "viewers" not in word]

    def close(self) -> None:
        """End it; who watches is told that it is over."""
        self._channel.close()
        try:
            self._process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


# Made once: a call of json.dumps with options makes a new encoder each time.
_encode = json.JSONEncoder(separators=(",", ":"), default=str).encode


def _text(facts: Mapping[str, Any]) -> bytes:
    return _encode(facts).encode("utf-8", "replace")


def _listening(address: Address) -> socket.socket:
    """Return the socket that browsers come to; made here, so that an error is told before anything else begins."""
    try:
        family, *_, where = socket.getaddrinfo(*address, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
        return socket.create_server(where[:2], family=family, backlog=64)
    except (OSError, OverflowError) as error:
        raise UserError(
            f"--page {address.host}:{address.port}: {getattr(error, 'strerror', None) or error}; name another address"
        ) from error


def _start(
    listening: socket.socket, there: socket.socket, options: list[str], guard: Path | None
) -> "subprocess.Popen[bytes]":
    descriptors = (listening.fileno(), there.fileno())
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "rover.page", *map(str, descriptors), *options, *([str(guard)] if guard else [])],
        pass_fds=descriptors,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        cwd="/",
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )
