"""Each device's health, and which reports may be believed at all."""

import math
from collections.abc import Sequence

from rover.devices.readings import Detections, Reading
from rover.events import Event, Health, HealthChange
from rover.files.robot import Robot
from rover.graph.vocabulary import SENSORS, Signals

CLOCK_SLACK_NS = 1_000_000
"""A reading may seem to have been taken this much after the step: clocks are mapped, not exact."""


class HealthWatch:
    """Keeps each device's health, and the signals that tell of reports: ok, how many, taken when."""

    def __init__(self, robot: Robot, signals: Signals) -> None:
        fitted = robot.devices.fitted()
        self._signals = signals
        self._limits = robot.limits
        self._ages = {
            family: int(fitted[family].overdue_after * 1e9)
            for family in SENSORS
            if family in fitted and not (family == "gripper" and robot.devices.gripper_is_silent)
        }
        self._health = {family: Health.OVERDUE if family in self._ages else Health.ABSENT for family in SENSORS}
        self._last = dict.fromkeys(self._ages, -1)
        self._sequences = dict.fromkeys(self._ages, -1)
        self._names = {family: (f"{family}_n", f"{family}_t") for family in self._ages}
        self._reports = dict.fromkeys(self._ages, 0)
        self._faults: dict[str, str] = {}
        self._missing_since: dict[str, int] = {}
        self._quiet_until_ns = -1
        self.impossible = 0
        if robot.devices.gripper is not None and robot.devices.gripper_is_silent:
            signals.gripper_ok = True

    def accept(self, device: str, reading: Reading, now_ns: int) -> bool:
        """Count a report; return False for one that is out of order or impossible."""
        if device not in self._ages:
            return False
        if reading.sequence <= self._sequences[device] or not self._possible(reading, now_ns):
            self.impossible += 1
            return False
        self._sequences[device] = reading.sequence
        self._last[device] = reading.taken_ns
        self._reports[device] += 1
        count_name, time_name = self._names[device]
        setattr(self._signals, count_name, self._reports[device])
        setattr(self._signals, time_name, reading.taken_ns)
        return True

    @staticmethod
    def _possible(reading: Reading, now_ns: int) -> bool:
        if reading.taken_ns > now_ns + CLOCK_SLACK_NS:
            return False
        value = reading.value
        if isinstance(value, Detections):
            return all(math.isfinite(one.bearing) and math.isfinite(one.distance) for one in value.objects)
        return all(part is None or -math.inf < part < math.inf for part in value)

    def look(self, now_ns: int, faults: Sequence[tuple[str, str]], events: list[Event]) -> None:
        """Bring every device's health up to date, and note what has changed."""
        if now_ns <= self._quiet_until_ns and not faults:
            return  # all were healthy, and not even the oldest report can be overdue yet
        for device, why in faults:
            self._faults[device] = why
        for device, age in self._ages.items():
            fresh = self._last[device] >= 0 and now_ns - self._last[device] <= age
            health = Health.FAULTY if device in self._faults else Health.OK if fresh else Health.OVERDUE
            if health is not self._health[device]:
                self._change(device, health, events)
            if health is Health.OK:
                self._missing_since.pop(device, None)
            else:
                self._missing_since.setdefault(device, now_ns)
        oldest = min((self._last[device] + age for device, age in self._ages.items()), default=now_ns)
        self._quiet_until_ns = -1 if self._missing_since else oldest

    def _change(self, device: str, health: Health, events: list[Event]) -> None:
        self._health[device] = health
        setattr(self._signals, f"{device}_ok", health is Health.OK)
        events.append(HealthChange(device, health, self._faults.get(device, "")))

    def blind(self, now_ns: int) -> str:
        """Return why the wheels must stand still: counts or heading missing for too long, or both missing."""
        missing = self._missing_since
        if not missing:
            return ""
        counts, heading = missing.get("counts"), missing.get("heading")
        if counts is not None and (heading is not None or "heading" not in self._ages):
            return "counts and heading missing"
        if counts is not None and now_ns - counts > self._limits.without_counts * 1e9:
            return "counts missing"
        if heading is not None and now_ns - heading > self._limits.without_heading * 1e9:
            return "heading missing"
        return ""
