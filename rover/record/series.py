"""What each device reported over a run, in figures: how often, how late, what was lost, and its numbers over time."""

import json
import sqlite3
from array import array
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rover.devices.families import FAMILIES
from rover.record.run import RecordError
from rover.record.steps import ASIDE

FRAMES = "objects in the frame"
"""Name of the one number that a camera's report is told by."""


@dataclass
class DeviceSeries:
    """The reports of a device.

    Attributes:
        taken_ns: when each was taken.
        ages_ns: how old each was as the step began that it was given to.
        missed: sequence numbers that were left out between them: reports that did not arrive.
        numbers: by the value's name, when and what (SI) it was; values that are not known are left out.
    """

    taken_ns: "array[int]" = field(default_factory=lambda: array("q"))
    ages_ns: "array[int]" = field(default_factory=lambda: array("q"))
    missed: int = 0
    numbers: dict[str, tuple["array[int]", "array[float]"]] = field(default_factory=dict)


@dataclass
class RunSeries:
    """What was read in a run; nothing where readings were not recorded.

    Attributes:
        devices: by name.
        steps_ns: when each step began.
    """

    devices: dict[str, DeviceSeries] = field(default_factory=dict)
    steps_ns: "array[int]" = field(default_factory=lambda: array("q"))


def read_series(path: Path) -> RunSeries:
    """Return what each device reported in a run; what of a value is no number is passed over.

    Raises:
        RecordError: the file is damaged.
    """
    series, last = RunSeries(), dict[str, int]()
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
            rows = connection.execute("SELECT at_ns, device, taken_ns, sequence, value FROM readings ORDER BY rowid")
            for at_ns, device, taken_ns, sequence, text in rows:
                if not series.steps_ns or at_ns != series.steps_ns[-1]:
                    series.steps_ns.append(at_ns)
                if device not in ASIDE:
                    one = series.devices.setdefault(device, DeviceSeries())
                    one.missed += max(0, sequence - last.get(device, sequence - 1) - 1)
                    last[device] = sequence
                    _take(one, device, (at_ns, taken_ns, json.loads(text)))
    except (sqlite3.Error, ValueError, TypeError, OverflowError) as error:
        raise RecordError(f"{path}: damaged: its readings cannot be read on: {error}") from None
    return series


def _take(one: DeviceSeries, device: str, row: tuple[int, int, Any]) -> None:
    at_ns, taken_ns, value = row
    one.taken_ns.append(taken_ns)
    one.ages_ns.append(at_ns - taken_ns)
    for name, number in _numbers(device, value):
        times, numbers = one.numbers.setdefault(name, (array("q"), array("d")))
        times.append(taken_ns)
        numbers.append(number)


def _numbers(device: str, value: Any) -> Iterator[tuple[str, float]]:
    """Yield the numbers of a value by name; true and false are 1 and 0."""
    match value:
        case [[*objects]] if device == "camera":
            yield FRAMES, float(len(objects))
        case list():
            names: Sequence[str] = FAMILIES[device].value._fields if device in FAMILIES else ()
            if len(names) != len(value):
                names = [str(at) for at in range(len(value))]
            yield from _those(dict(zip(names, value, strict=True)))
        case dict():
            yield from _those(value)


def _those(values: Mapping[str, Any]) -> Iterator[tuple[str, float]]:
    for name, value in values.items():
        if isinstance(value, int | float):
            yield name, float(value)
