"""Real mail servers on this computer that behave as badly as a test asks, and an errand that sends by them."""

# ruff: noqa: N802  the library names its methods so

import asyncio
import email
import resource
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP

from rover.notices.account import PASSWORD, PERSON

PATIENCE_S = 60.0
ERRAND = """
errand: Bring the jars in
files: {{robot: cart.yaml, behaviour: collect.yaml}}
field:
  boundary: [[0 m, 0 m], [6 m, 0 m], [6 m, 4 m], [0 m, 4 m]]
  start: {{x: 2 m, y: 60 cm}}
notices:
{notices}
"""


@dataclass
class Manners:
    """How a server behaves, and what it has taken.

    Attributes:
        at: by command, how it answers the next times it hears it; then as it should. `hang` says nothing for ever,
            `drop` hangs up (in mid-message where the command is DATA), `deaf` takes the message and hangs up before it
            says so, and anything else is the answer itself.
    """

    at: dict[str, list[str]] = field(default_factory=dict)
    taken: list[EmailMessage] = field(default_factory=list)

    def next(self, command: str) -> str:
        answers = self.at.get(command, [])
        return answers.pop(0) if answers else ""

    @property
    def ids(self) -> list[str]:
        return [message["Message-ID"] for message in self.taken]


class BadlyBehaved(SMTP):
    """The library's server; before each command it looks at its manners."""

    manners: Manners

    async def _ill(self, command: str) -> bool:
        match self.manners.next(command):
            case "":
                return False
            case "hang":
                await asyncio.sleep(3600.0)
            case "drop":
                assert self.transport is not None
                self.transport.abort()
            case answer:
                await self.push(answer)
        return True

    async def smtp_EHLO(self, hostname: str) -> None:
        if not await self._ill("EHLO"):
            await super().smtp_EHLO(hostname)

    async def smtp_HELO(self, hostname: str) -> None:
        if not await self._ill("HELO"):
            await super().smtp_HELO(hostname)

    async def smtp_MAIL(self, arg: str | None) -> None:
        if not await self._ill("MAIL"):
            await super().smtp_MAIL(arg)

    async def smtp_RCPT(self, arg: str | None) -> None:
        if not await self._ill("RCPT"):
            await super().smtp_RCPT(arg)

    async def smtp_DATA(self, arg: str | None) -> None:
        match self.manners.next("DATA"):
            case "drop":
                assert self.transport is not None
                await self.push("354 go on")
                await self._reader.readline()
                self.transport.abort()
                return
            case "hang":
                await self.push("354 go on")
                await asyncio.sleep(3600.0)
            case "":
                pass
            case answer:
                await self.push(answer)
                return
        await super().smtp_DATA(arg)


class Keeper:
    """Keeps what it is given."""

    def __init__(self, manners: Manners) -> None:
        self.manners = manners

    async def handle_DATA(self, server: BadlyBehaved, session: Any, envelope: Any) -> str:
        self.manners.taken.append(email.message_from_bytes(envelope.content, policy=default))
        match self.manners.next("taken"):
            case "deaf":
                assert server.transport is not None
                server.transport.abort()
            case answer if answer:
                self.manners.taken.pop()
                return answer
        return "250 taken"


class BadServer(Controller):
    """A mail server with manners; it can be stopped, and started again at the same port."""

    def __init__(self, manners: Manners, port: int, **options: Any) -> None:
        self.manners, self._options = manners, options
        super().__init__(Keeper(manners), hostname="127.0.0.1", port=port, ssl_context=options.pop("tls", None))

    def go(self) -> None:
        """Go away, if it has not gone yet."""
        if self.server is not None:
            self.stop()

    def factory(self) -> BadlyBehaved:
        server = BadlyBehaved(self.handler, **self._options)
        server.manners = self.manners
        return server


@contextmanager
def full_disk() -> Iterator[None]:
    """No file of this process can grow beyond what a database has long had."""
    before, handler = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1024, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)


@pytest.fixture
def manners() -> Manners:
    return Manners()


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def serving(manners: Manners, port: int) -> Iterator[Callable[..., BadServer]]:
    """Starts a server; whatever is still up at the end is stopped."""
    started: list[BadServer] = []

    def start(**options: Any) -> BadServer:
        started.append(BadServer(manners, port, **options))
        started[-1].start()
        return started[-1]

    yield start
    for server in started:
        server.go()


@pytest.fixture
def errand(tmp_path: Path, port: int, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An errand that sends mail to the server, without a password; nothing of this computer's person file counts."""
    monkeypatch.setenv(PERSON, str(tmp_path / "person.yaml"))
    monkeypatch.delenv(PASSWORD, raising=False)
    return written(
        tmp_path, f"  mail: {{server: localhost, port: {port}, security: none, sender: a@b.org, to: [c@d.org]}}"
    )


def written(folder: Path, notices: str) -> Path:
    path = folder / "jars.yaml"
    path.write_text(ERRAND.format(notices=notices), "utf-8")
    return path
