"""What every way of sending has: it delivers a message and returns what was said, or raises one of two errors."""

from collections.abc import Callable
from email.message import EmailMessage

from rover.errors import UserError

MAIL, COMMAND = "mail", "command"

Deliver = Callable[[EmailMessage], str]
"""Delivers one message, and returns what was said of it.

Raises:
    NotTakenError: this one was not taken; others may be.
    UnreachableError: there is no use in trying others now.
"""


class NotTakenError(UserError):
    """A message was not taken, for now or for good; the message says what came back."""


class UnreachableError(UserError):
    """Nothing can be sent this way at present; the message says why, and what to do where a person can do something."""
