"""Each device's health, and which reports may be believed at all."""

import math
from collections.abc import Callable, Sequence
from typing import Any

from rover.behaviour.vocabulary import SENSORS, Signals
from rover.devices.readings import Fault, Reading
from rover.events import Event, Health, HealthChange
from rover.files.robot import Robot

RECORD = "record"
"""Stands among the devices' faults for the run record: why it is not being written, '' when it is again."""
CLOCK_SLACK_NS = 1_000_000
"""A reading may seem to have been taken this much after the step: clocks are mapped, not exact."""


def _finite(*names: str) -> Callable[[Any], bool]:
    """Return a check that the named parts of a value are numbers (or None)."""

    def check(value: Any) -> bool:
        for name in names:
            part = getattr(value, name)
            if part is not None and not -math.inf < part < math.inf:
                return False
        return True

    return check


def _finite_objects(value: Any) -> bool:
    return all(math.isfinite(one.bearing) and math.isfinite(one.distance) for one in value.objects)


def _counted(value: Any) -> bool:
    return isinstance(value.left, int) and isinstance(value.right, int)


_POSSIBLE: dict[str, Callable[[Any], bool]] = {
    "counts": _counted,
    "heading": _finite("angle", "rate"),
    "range": _finite("distance"),
    "camera": _finite_objects,
    "gripper": _finite("opening"),
    "battery": _finite("volts", "amps"),
    "stop_input": _finite("closed"),
}


class _Device:
    """What is known of one device's reports."""

    __slots__ = ("age_ns", "count_name", "fault", "health", "last_ns", "possible", "reports", "sequence", "time_name")

    def __init__(self, family: str, age_s: float) -> None:
        self.age_ns = int(age_s * 1e9)
        self.count_name, self.time_name = f"{family}_n", f"{family}_t"
        self.possible = _POSSIBLE[family]
        self.health = Health.OVERDUE
        self.last_ns = self.sequence = -1
        self.reports = 0
        self.fault = ""

    def health_at(self, now_ns: int) -> Health:
        if self.fault:
            return Health.FAULTY
        return Health.OK if self.last_ns >= 0 and now_ns - self.last_ns <= self.age_ns else Health.OVERDUE


def _is_possible(device: _Device, value: Any) -> bool:
    """Tell whether a value may be believed; one of another type than the device's may not."""
    try:
        return device.possible(value)
    except (AttributeError, TypeError):
        return False


class HealthWatch:
    """Keeps each device's health, and the signals that tell of reports: ok, how many, taken when."""

    def __init__(self, robot: Robot, signals: Signals) -> None:
        fitted = robot.devices.fitted()
        silent = {"gripper"} if robot.devices.gripper_is_silent else set()
        self._signals = signals
        self._limits = robot.limits
        self._devices = {
            family: _Device(family, fitted[family].overdue_after)
            for family in SENSORS
            if family in fitted and family not in silent
        }
        self._given_up: set[str] = set()
        self._missing_since: dict[str, int] = {}
        self._quiet_until_ns = -1
        self.impossible = 0
        signals.record_ok = True
        signals.gripper_ok = "gripper" in fitted and "gripper" in silent

    def accept(self, family: str, reading: Reading, now_ns: int) -> bool:
        """Count a report; return False for one that is out of order or impossible."""
        device = self._devices.get(family)
        if device is None:
            return False
        if reading.sequence <= device.sequence or reading.taken_ns > now_ns + CLOCK_SLACK_NS:
            self.impossible += 1
            return False
        if isinstance(reading.value, Fault) or not _is_possible(device, reading.value):
            self._quiet_until_ns = -1
            device.fault = self._why_not(reading.value)
            return False
        if device.fault and family not in self._given_up:
            device.fault = ""
        device.sequence, device.last_ns = reading.sequence, reading.taken_ns
        device.reports += 1
        setattr(self._signals, device.count_name, device.reports)
        setattr(self._signals, device.time_name, reading.taken_ns)
        return True

    def _why_not(self, value: Any) -> str:
        if isinstance(value, Fault):
            return value.why
        self.impossible += 1
        return f"gives impossible values ({value})"

    def look(self, now_ns: int, faults: Sequence[tuple[str, str]], events: list[Event]) -> None:
        """Bring every device's health up to date, and note what has changed.

        Args:
            now_ns: time of the step.
            faults: (family, why) of drivers that failed: those stay faulty until (family, '') says they are back.
            events: where changes are noted.
        """
        if now_ns <= self._quiet_until_ns and not faults:
            return  # all were healthy, and not even the oldest report can be overdue yet
        for family, why in faults:
            if why:
                self._give_up(family, why, events)
            else:
                self._take_back(family, events)
        for family, device in self._devices.items():
            health = device.health_at(now_ns)
            if health is not device.health:
                device.health = health
                setattr(self._signals, f"{family}_ok", health is Health.OK)
                events.append(HealthChange(family, health, device.fault))
            if health is Health.OK:
                self._missing_since.pop(family, None)
            else:
                self._missing_since.setdefault(family, now_ns)
        next_ns = min((device.last_ns + device.age_ns for device in self._devices.values()), default=now_ns)
        self._quiet_until_ns = -1 if self._missing_since else next_ns

    def _give_up(self, family: str, why: str, events: list[Event]) -> None:
        self._given_up.add(family)
        if family == RECORD:
            self._signals.record_ok = False
        if family in self._devices:
            self._devices[family].fault = why
        else:
            events.append(HealthChange(family, Health.FAULTY, why))

    def _take_back(self, family: str, events: list[Event]) -> None:
        self._given_up.discard(family)
        if family == RECORD:
            self._signals.record_ok = True
        if family in self._devices:
            self._devices[family].fault = ""
        else:
            events.append(HealthChange(family, Health.OK, ""))

    def why_stand_still(self, now_ns: int) -> str:
        """Return why the wheels must stand still: counts or heading missing for too long, both, or the stop input."""
        missing = self._missing_since
        if not missing:
            return ""
        if "stop_input" in missing:  # nobody could be heard calling for a stop
            return "stop input missing"
        counts, heading = missing.get("counts"), missing.get("heading")
        if counts is not None and (heading is not None or "heading" not in self._devices):
            return "counts and heading missing"
        if counts is not None and now_ns - counts > self._limits.without_counts * 1e9:
            return "counts missing"
        if heading is not None and now_ns - heading > self._limits.without_heading * 1e9:
            return "heading missing"
        return ""
