"""Typing in where the objects of a run truly stood, as a tape says: offered when a run or jogging has ended."""

import sys
import time
from pathlib import Path

import click

from rover.commands.output import person_at_terminal, writing
from rover.errors import UserError
from rover.events import Find
from rover.geometry import XY
from rover.quantities import LENGTH
from rover.readiness.person import NobodyAnswersError, Person
from rover.record.reader import read
from rover.record.run import RecordedRun
from rover.record.surveyed import FARTHEST, path_beside, write_measured

INTRODUCTION = (
    "Where did each truly stand? x and y in the field frame, such as '2.45 m'; Enter: not measured. "
    "What has been typed is kept if you stop with Ctrl-D."
)
RECENT_S, LATEST = 24 * 3600.0, 3
"""Jogging asks about a run of the last day, and looks for it in so many records."""


def offer(record: Path) -> None:
    """Ask a person at the terminal whether to type them in; where nobody is, or nothing was found, do nothing."""
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return
    run = read(record)
    if run.finds and run.truth is None and not path_beside(record).exists():
        person = person_at_terminal(f"rover report {record} --type-in asks again")
        finds = f"{len(run.finds)} find{'s' * (len(run.finds) > 1)}"
        question = f"{record} has {finds} and no true places yet; type in what a tape says?"
        try:
            if person.ask(f"{question} [y/N]").lower() in ("y", "yes"):
                type_in(record, run, person)
        except NobodyAnswersError:
            click.echo(err=True)


def offer_latest(folder: Path) -> None:
    """Do the same for the latest run on the robot, of those recorded lately in a folder."""
    records = sorted(folder.glob("*.sqlite"), key=lambda path: -path.stat().st_mtime)
    for record in [path for path in records if time.time() - path.stat().st_mtime < RECENT_S][:LATEST]:
        try:
            run = read(record)
        except UserError:
            continue  # it is another command's business to say what is wrong with it
        if run.header.get("host") == "robot" and run.finds:
            offer(record)
            return


def type_in(record: Path, run: RecordedRun, person: Person) -> None:
    """Ask where each find truly stood, and keep it beside the record.

    Raises:
        UserError: it was done before, or the file cannot be written.
    """
    path = path_beside(record)
    if path.exists():
        raise UserError(f"{path} is there already; put right in it what is wrong, or move it away and try again")
    if not run.finds:
        raise UserError(f"{record}: nothing was found in this run, so there is no place to compare")
    person.tell(INTRODUCTION)
    measured: list[tuple[Find, XY]] = []
    try:
        for find in run.finds:
            person.tell(f"find {find.number}, {find.kind}, reported at x {find.x:.3f} m, y {find.y:.3f} m")
            place = _place(person, find)
            if place is not None:
                measured.append((find, place))
    except NobodyAnswersError:
        person.tell("")
    if not measured:
        person.tell("nothing was typed in, and nothing written")
        return
    with writing():
        write_measured(path, measured)
    person.tell(f"measured: {path}   (rover report {record})")


def _place(person: Person, find: Find) -> XY | None:
    x = person.quantity("  true x?", LENGTH, lambda value: _check(value, find.x))
    if x is None:
        return None
    y = person.quantity("  true y?", LENGTH, lambda value: _check(value, find.y))
    return None if y is None else (x, y)


def _check(value: float, reported: float) -> None:
    if abs(value - reported) > FARTHEST:
        raise UserError(f"{abs(value - reported):.0f} m from where it was reported; is the unit right? Type it again")
