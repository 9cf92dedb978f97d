"""The demo's files, to be changed in a few places."""

from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
ERRAND, ROBOT = "config/greenhouse.yaml", "config/cart.yaml"
BOUNDARY = "boundary: [[0 m, 0 m], [6 m, 0 m], [6 m, 4 m], [0 m, 4 m]]"
NORTH = "    north: [[0 m, 4 m], [6 m, 4 m]]\n"
PLACES = "  zone: {x: 75 cm"


class Row(NamedTuple):
    """What is changed in which file, and what is said of it: file and line, words of the cause, what to change."""

    edits: dict[str, dict[str, str]]
    said: str
    cause: str
    change: str


def in_errand(old: str, new: str, line: int, cause: str, change: str) -> Row:
    return Row({ERRAND: {old: new}}, f"{ERRAND}:{line}:", cause, change)


def in_robot(old: str, new: str, line: int, cause: str, change: str) -> Row:
    return Row({ROBOT: {old: new}}, f"{ROBOT}:{line}:", cause, change)


def zone(text: str) -> str:
    return f"zone: {{{text}}}"


def wall(*ends: str) -> str:
    """Return the demo's north wall, and others below it."""
    return NORTH + "".join(f"    inner_{number}: {each}\n" for number, each in enumerate(ends))


def edit(project: Path, edits: dict[str, dict[str, str]]) -> None:
    """Put other texts in the place of some that stand exactly once in a file."""
    for file, pairs in edits.items():
        text = (project / file).read_text("utf-8")
        for old, new in pairs.items():
            assert text.count(old) == 1, f"stands there {text.count(old)} times, not once: {old!r}"
            text = text.replace(old, new)
        (project / file).write_text(text, "utf-8")
