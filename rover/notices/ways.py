"""The ways by which an errand's notices go, and what is said on each."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rover.errors import UserError
from rover.files.load import load
from rover.files.notices import Notices
from rover.notices.account import password_for, program_for
from rover.notices.end import with_picture
from rover.notices.mail import Patience, message_of, to_server
from rover.notices.outbox import Notice
from rover.notices.program import run_program
from rover.notices.way import COMMAND, UnreachableError

Send = Callable[[Notice], str]
"""Sends one notice and returns what was said of it; raises as `rover.notices.way.Deliver` does."""


def notices_of(errand: Path) -> Notices:
    """Return what an errand file says of notices.

    Raises:
        FileProblems: the file has mistakes.
        UnreachableError: it says nothing of them.
    """
    notices: Notices | None = load(errand, "errand").model.notices
    if notices is None:
        raise UnreachableError(f"{errand}: has no 'notices:', so that nobody is told anything; see config/README.md")
    return notices


@contextmanager
def opened(way: str, notices: Notices, patience: Patience) -> Iterator[Send]:
    """Open a way, and give what sends a notice by it.

    Raises:
        UserError: it cannot be opened at present.
    """
    mail = notices.mail
    if way == COMMAND:
        sender = mail.sender if mail else "rover@localhost"
        yield lambda notice: run_program(program_for(notice.recipient), message_of(notice, sender))
        return
    if mail is None:
        raise UnreachableError("the errand's 'notices:' has no 'mail:' any more")
    with to_server(mail, password_for(mail), patience) as deliver:
        yield lambda notice: deliver(with_picture(message_of(notice, mail.sender), notice))


def what_is_missing(notices: Notices) -> list[str]:
    """Return what notices need and this computer does not have, in words; nothing is connected to or started."""
    found = []
    try:
        if notices.mail:
            password_for(notices.mail)
    except UserError as error:
        found.append(str(error))
    try:
        if notices.command:
            program_for(notices.command)
    except UserError as error:
        found.append(str(error))
    return list(dict.fromkeys(found))
