"""What is wrong with a file, where, and what to write instead."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from rover.errors import UserError


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake, or (``warning``) one thing that is probably not meant.

    Where an option has no line, ``file`` is the option.
    """

    file: str
    line: int
    column: int
    text: str
    why: str
    warning: bool = False

    def __str__(self) -> str:
        shown = f" '{_printable(self.text, 60)}':" if self.text else ""
        warning = " warning:" if self.warning else ""
        place = self.file if self.file.startswith("--") else f"{self.file}:{self.line}:{self.column}"
        return f"{place}:{warning}{shown} {_printable(self.why, 600)}"


def _printable(text: str, longest: int) -> str:
    """Return a text for one line of a terminal: what is in a file must not steer the terminal or flood it."""
    cropped = text if len(text) <= longest else text[: longest - 3] + "..."
    return "".join(letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in cropped)


class FileProblems(UserError):  # noqa: N818  it holds several, and that is its point
    """All mistakes found in the files of one command, in the order of the files' lines."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(dict.fromkeys(sorted(problems)))
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(map(str, self.problems))


def warnings_of(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Return the warnings among some problems, each once and in their order.

    Raises:
        FileProblems: there are mistakes among them.
    """
    found = sorted(set(problems))
    if any(not problem.warning for problem in found):
        raise FileProblems(found)
    return tuple(found)


def meant(word: str, known: Iterable[str]) -> str | None:
    """Return the known spelling that is nearest to a word, capitals aside; None when none is near."""
    spellings = {name.lower(): name for name in known}
    near = get_close_matches(word.lower(), spellings, 1, 0.6)
    return spellings[near[0]] if near else None


def nearest(word: str, known: Iterable[str]) -> str:
    """Return '; did you mean 'x'?' for the nearest known spelling, or the list of what is known when it is short."""
    names = list(known)
    if near := meant(word, names):
        return f"; did you mean '{near}'?"
    return f" (known here: {', '.join(sorted(names))})" if 0 < len(names) <= 20 else ""
