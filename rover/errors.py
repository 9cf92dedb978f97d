"""What a person can put right: the base of all errors whose message is meant for them."""

import errno
import re
from collections.abc import Callable
from pathlib import Path

A_LOOP = "is a loop of links"
LINE, PIECE = 300, 80
"""Characters of a line for a person, and of a value in one: a value may be a picture of a million numbers."""


class UserError(Exception):
    """The message is one clear line: what is wrong, where, what to do next. Any other exception is a bug in rover.

    Attributes:
        exit_code: of a program that ends for it: 2, what it was given cannot be used.
    """

    exit_code = 2


def in_words(error: BaseException) -> str:
    """Return type and text of any exception in one line, be it raised by code of the person's own."""
    text = _said_by(lambda: str(error))
    return one_line(f"{type(error).__name__}: {text}" if text else type(error).__name__)


def in_short(value: object) -> str:
    """Return any value as Python writes it, or the beginning of that: a short piece of one line."""
    return one_line(_said_by(lambda: repr(value)) or type(value).__name__, PIECE)


def one_line(text: str, most: int = LINE) -> str:
    """Return a text of whatever origin in one line of no more than so many characters."""
    line = " ".join(text[: 4 * most].split())
    return line if len(line) <= most and len(text) <= 4 * most else f"{line[: most - 3]}..."


def _said_by(speak: Callable[[], str]) -> str:
    """Return what an object says of itself, '' if it cannot: code of the person's own speaks there."""
    try:
        return speak()
    except Exception:
        return ""


def to_install(extra: str) -> str:
    """Return the command that brings what an extra of this package needs, into the Python that runs here.

    It names the packages themselves: an index may hold something else under this package's own name.
    """
    import importlib.metadata
    import shlex
    import sys

    try:
        needed = importlib.metadata.requires("rover") or []
    except importlib.metadata.PackageNotFoundError:
        needed = []
    of_extra = re.compile(rf"""\bextra\s*==\s*['"]{re.escape(extra)}['"]""")
    names = [one.partition(";")[0].strip() for one in needed if of_extra.search(one)]
    source = Path(__file__).parents[1]
    what = names or (["-e", f"{source}[{extra}]"] if (source / "pyproject.toml").exists() else [extra])
    return shlex.join([sys.executable or "python3", "-m", "pip", "install", *what])


def is_loop(path: Path) -> bool:
    """Tell whether a path leads into symbolic links that lead to each other."""
    try:
        path.stat()
    except (OSError, ValueError) as error:
        return getattr(error, "errno", None) == errno.ELOOP
    return False
