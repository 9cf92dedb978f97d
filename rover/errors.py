"""What a person can put right: the base of all errors whose message is meant for them."""

import errno
from pathlib import Path

A_LOOP = "is a loop of links"


class UserError(Exception):
    """The message is one clear line: what is wrong, where, what to do next. Any other exception is a bug in rover.

    Attributes:
        exit_code: of a program that ends for it: 2, what it was given cannot be used.
    """

    exit_code = 2


def in_words(error: BaseException) -> str:
    """Return type and text of any exception in one line, be it raised by code of the person's own."""
    try:
        text = " ".join(str(error).split())
    except Exception:
        text = ""
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def is_loop(path: Path) -> bool:
    """Tell whether a path leads into symbolic links that lead to each other."""
    try:
        path.stat()
    except (OSError, ValueError) as error:
        return getattr(error, "errno", None) == errno.ELOOP
    return False
