"""The steps of a run as its record has them: all that the core was given in each, and what it commanded.

In the table of readings stand, besides those of the devices, rows under the names of `ASIDE`: ``operator`` (what
operator or guard did), ``driver`` (drivers that failed, or are back), ``loop`` (a step in which nothing came in) and
``commands`` (what the step commanded of wheels and jaws, where that is new). The core passes over the guard's words.
"""

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any, NamedTuple

from rover.core.interface import Action, StepReadings, StepRecord
from rover.devices.families import FAMILIES
from rover.devices.readings import Detection, Detections, Fault, Reading
from rover.errors import in_short
from rover.files.robot import Robot
from rover.record.run import RecordError

ASIDE = ("operator", "driver", "loop", "commands", "guard")
"""Names of what is no device's reading; no device may be called so."""
LIMP = -1.0
"""The opening of jaws that are commanded to go limp."""
FAULT, ODD = "!fault", "!odd"
"""Keys that no signal can have: of a device's `Fault`, and of what the record cannot hold, as Python writes it."""


class Commands(NamedTuple):
    """Duties of the two motor channels (-1 to 1) and the jaws' opening (0 to 1, `LIMP`; None before the first)."""

    left: float
    right: float
    opening: float | None


AT_REST = Commands(0.0, 0.0, None)
"""What is commanded before the first row says otherwise."""


class Unheld(NamedTuple):
    """Stands for a value that the record could not hold; the core takes it for impossible.

    Attributes:
        text: the value as Python writes it.
    """

    text: str

    def __repr__(self) -> str:
        """Return the value as Python writes it, so that messages on it are the same again."""
        return self.text


class RecordedStep(NamedTuple):
    """A step of a run: what the core was given, and what it commanded.

    Attributes:
        unheld: devices with a value that the record could not hold.
    """

    given: StepReadings
    commands: Commands
    unheld: tuple[str, ...] = ()


def commands_of(decided: StepRecord) -> Commands:
    """Return what a step commands of wheels and jaws."""
    opening = None if decided.jaws is None else LIMP if decided.jaws.opening is None else decided.jaws.opening
    return Commands(decided.drive.left, decided.drive.right, opening)


class StepRows:
    """Makes of each step of a run the rows of its readings, in the order in which the core was given them."""

    def __init__(self) -> None:
        self._others = 0
        self._commands = AT_REST

    def of(self, given: StepReadings, decided: StepRecord) -> list[tuple[str, Reading]]:
        """Return the rows of the next step."""
        others: list[tuple[str, Any]] = [("operator", action) for action in given.actions]
        others += [("driver", fault) for fault in given.faults]
        if not given.new and not others:
            others = [("loop", None)]
        commands = commands_of(decided)
        if commands != self._commands:
            self._commands = commands
            others.append(("commands", commands))
        first, self._others = self._others + 1, self._others + len(others)
        rows = [(name, Reading(given.now_ns, number, value)) for number, (name, value) in enumerate(others, first)]
        return [*given.new, *rows]


_to_json = json.JSONEncoder(separators=(",", ":"), default=lambda value: {ODD: in_short(value)}).encode


def reading_text(name: str, value: Any) -> str:
    """Return a reading's value as JSON. Never fails: one that cannot be written must not cost the others theirs.

    What is of another type than the record can tell again is written as what Python says of it.
    """
    try:
        if isinstance(value, Fault):
            return _to_json({FAULT: value.why})
        return _to_json(value if name in ASIDE or _is_held(value) else {ODD: in_short(value)})
    except Exception:  # the driver is a person's own, and so may be what it reports
        return _to_json({ODD: f"a {type(value).__name__} that cannot be written"})


def _is_held(value: Any) -> bool:
    """Tell whether a value's text gives it again: a bare list would be taken for what its device should report."""
    match value:
        case Detections():
            return isinstance(value.objects, tuple) and all(type(one) is Detection for one in value.objects)
        case dict():
            return all(type(key) is str for key in value)
    return type(value) not in (list, tuple)


def reading_value(kind: type[Any] | None, text: str) -> Any:
    """Return the value that `reading_text` made a text of.

    Args:
        kind: the type of what such devices report; None for a device of no family.
        text: as it stands in the record.

    Raises:
        ValueError, TypeError: it was not made so.
    """
    value = json.loads(text)
    if isinstance(value, dict) and FAULT in value:
        return Fault(value[FAULT])
    if isinstance(value, dict) and ODD in value:
        return Unheld(str(value[ODD]))
    if kind is None or not isinstance(value, list) or len(value) != len(kind._fields):
        return value
    return Detections(tuple(Detection(*one) for one in value[0])) if kind is Detections else kind(*value)


def steps(path: Path, robot: Robot) -> Iterator[RecordedStep]:
    """Yield the steps that are recorded in a file, oldest first; none where no readings were recorded.

    Raises:
        RecordError: the file is damaged.
    """
    kinds = {name: _kind_of(robot, name) for name in robot.devices.fitted()}
    commands = AT_REST
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            every = connection.execute("SELECT at_ns, device, taken_ns, sequence, value FROM readings ORDER BY rowid")
            for at_ns, rows in groupby(every, itemgetter(0)):
                step = _step(at_ns, rows, kinds, commands)
                commands = step.commands
                yield step
    except (sqlite3.Error, ValueError, TypeError, KeyError) as error:
        raise RecordError(f"{path}: damaged: its readings cannot be read on: {error}") from None


def _kind_of(robot: Robot, name: str) -> type[Any] | None:
    family = robot.devices.family_of(name)
    return FAMILIES[family].value if family else None


def _step(at_ns: int, rows: Iterable[Any], kinds: Mapping[str, type[Any] | None], commands: Commands) -> RecordedStep:
    new: list[tuple[str, Reading]] = []
    faults: list[tuple[str, str]] = []
    actions: list[Action] = []
    unheld: list[str] = []
    for _, name, taken_ns, sequence, text in rows:
        match name:
            case "operator":
                actions.append(Action(*json.loads(text)))
            case "driver":
                device, why = json.loads(text)
                faults.append((device, why))
            case "commands":
                commands = Commands(*json.loads(text))
            case "loop" | "guard":
                pass
            case _:
                new.append((name, Reading(taken_ns, sequence, reading_value(kinds.get(name), text))))
                if ODD in text:
                    unheld.append(name)
    return RecordedStep(StepReadings(at_ns, new, faults, actions), commands, tuple(unheld))
