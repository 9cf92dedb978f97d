"""What is looked at before the first motion: measured, expected, verdict, what to do. Pure, but for `machine`."""

import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any, NamedTuple

from rover.files.robot import Robot
from rover.guard.ways_to_zero import ways_to_zero
from rover.session.clocks import is_synchronised

DEVICES_WITHIN_S = 10.0
REST_SHARE = 0.86
"""A run begins with at least this share of the full battery's voltage: 3.6 V a cell of a lithium-ion one (rule of
thumb, from memory)."""
CALIBRATED = 3
ROOM = 200_000_000
"""Bytes; a run of an hour leaves some 50 MB of readings."""


class Verdict(Enum):
    """What a check means for the start."""

    GOOD = "ok"
    NOTE = "note"
    BAD = "NOT OK"


class Check(NamedTuple):
    """One row; ``mend`` says what to do where it is not in order."""

    name: str
    measured: str
    expected: str
    verdict: Verdict
    mend: str = ""


@dataclass(frozen=True)
class ComputerState:
    """What the computer itself tells: free bytes for the record, and whether its wall clock is set by a better one."""

    free: int
    synchronised: bool


@dataclass(frozen=True)
class Facts:
    """What the checks judge.

    Attributes:
        seconds: how long the devices have been listened to.
        healthy: families of the devices that are ok.
        latest: their last values.
        why: why a device is faulty, by family.
    """

    robot: Robot
    seconds: float
    healthy: frozenset[str]
    latest: Mapping[str, Any]
    why: Mapping[str, str]
    machine: ComputerState


def machine(folder: Path) -> ComputerState:
    """Return what the computer tells, for a record in ``folder``."""
    return ComputerState(shutil.disk_usage(folder).free, is_synchronised())


def checks(facts: Facts) -> list[Check]:
    """Return all rows; the stop input is tried apart, since that takes a person."""
    return [*_devices(facts), *_calibration(facts), *_battery(facts), _ways(facts.robot), *_machine(facts.machine)]


def is_ready(robot: Robot, healthy: Iterable[str]) -> bool:
    """Tell whether every device that reports is ok."""
    return _reporting(robot) <= set(healthy)


def _reporting(robot: Robot) -> set[str]:
    silent = {"drive", "gripper"} if robot.devices.gripper_is_silent else {"drive"}
    return set(robot.devices.fitted()) - silent


def _devices(facts: Facts) -> Iterable[Check]:
    fitted = facts.robot.devices.fitted()
    for family in sorted(_reporting(facts.robot)):
        expected = f"reports within {DEVICES_WITHIN_S:.0f} s, none older than {fitted[family].overdue_after:g} s"
        if family in facts.healthy:
            yield Check(family, _in_words(facts.latest.get(family)), expected, Verdict.GOOD)
        else:
            measured = facts.why.get(family) or f"no report that is fresh after {facts.seconds:.0f} s"
            yield Check(family, measured, expected, Verdict.BAD, f"see {_place(family, facts.robot)}; is it connected?")


def _place(family: str, robot: Robot) -> str:
    device = robot.devices.fitted()[family]
    on_link = f" and 'links: {device.link}:'" if device.link else ""
    return f"'devices: {family}:' (driver {device.driver}){on_link} in the robot file"


def _in_words(value: Any) -> str:
    """Return a reading's value as text: names and numbers, what is not told left out."""
    pairs = value._asdict().items() if hasattr(value, "_asdict") else ()
    told = [f"{name} {_number(item)}" for name, item in pairs if item is not None]
    return ", ".join(told) or "reports"


def _number(item: object) -> str:
    if isinstance(item, Sequence) and not isinstance(item, str):
        return str(len(item))
    return f"{item:.4g}" if isinstance(item, float) else str(item)


def _calibration(facts: Facts) -> Iterable[Check]:
    level = getattr(facts.latest.get("heading"), "calibration", None)
    if level is None:
        return
    verdict = Verdict.GOOD if level >= CALIBRATED else Verdict.NOTE if level else Verdict.BAD
    mend = "" if level >= CALIBRATED else "carry the robot slowly through all directions until the level is 3"
    yield Check("heading's calibration", f"level {level}", f"level {CALIBRATED}, not 0", verdict, mend)


def _battery(facts: Facts) -> Iterable[Check]:
    battery, value = facts.robot.devices.battery, facts.latest.get("battery")
    if battery is None or value is None:
        return
    volts = value.volts + (value.amps or 0.0) * battery.inner_resistance
    least = REST_SHARE * battery.full
    verdict = Verdict.GOOD if volts >= least else Verdict.BAD
    mend = "" if volts >= least else "charge it, or put a full one in; is 'full:' of the battery right?"
    yield Check("battery at rest", f"{volts:.2f} V", f"at least {least:.2f} V", verdict, mend)


def _ways(robot: Robot) -> Check:
    ways = ways_to_zero(robot)
    verdict = Verdict.GOOD if len(ways) >= 2 else Verdict.BAD
    mend = "" if len(ways) >= 2 else "use a drive that the motor guard holds"
    return Check("ways to zero", ", ".join(ways) or "none", "two that are independent", verdict, mend)


def _machine(found: ComputerState) -> Iterable[Check]:
    room = Verdict.GOOD if found.free >= ROOM else Verdict.BAD
    mend = "" if found.free >= ROOM else "make room: old records in runs/ can go"
    yield Check("free disk", f"{found.free / 1e6:.0f} MB", f"at least {ROOM / 1e6:.0f} MB", room, mend)
    clock = Verdict.GOOD if found.synchronised else Verdict.NOTE
    mend = "" if found.synchronised else "nothing depends on it but dates: the record's and those of notices"
    yield Check("clock", "set by another" if found.synchronised else "not synchronised", "synchronised", clock, mend)


def table(rows: Sequence[Check]) -> list[str]:
    """Return the rows as aligned lines, each with its advice below it."""
    widths = [max(len(str(row[column])) for row in rows) for column in range(3)]
    lines = []
    for row in rows:
        cells = (f"{row[column]:<{widths[column]}}" for column in range(3))
        lines.append("  ".join((*cells, row.verdict.value)))
        lines += [f"  {row.mend}"] if row.mend else []
    return lines


class StopTrial:
    """The stop input has to be seen open and then closed, once, before it is relied on."""

    def __init__(self) -> None:
        self._was_open = False
        self.is_done = False

    def see(self, closed: bool) -> None:
        """Take a report of the stop input."""
        self._was_open = self._was_open or not closed
        self.is_done = self.is_done or (self._was_open and closed)
