"""Each device's health, and which reports may be believed at all."""

from collections.abc import Callable, Sequence
from typing import Any

from rover.behaviour.vocabulary import SENSORS, Signals, attribute_of
from rover.core.possible import CLOCK_SLACK_NS, HeadingSteps, checks
from rover.devices.families import reporting
from rover.devices.keys import DeviceKeys
from rover.devices.readings import Fault, Reading
from rover.errors import one_line
from rover.events import Event, Health, HealthChange
from rover.files.robot import Robot
from rover.motion.limits import NOTHING_MISSING, Missing

RECORD = "record"
"""Stands among the devices' faults for the run record: why it is not being written, '' when it is again."""
Fills = tuple[tuple[str, Callable[[Any, Any], Any]], ...]
"""Of a device: each signal's attribute, and what returns its value for a report and the device's keys."""


class _Device:
    """What is known of one device's reports."""

    __slots__ = (
        *("age_ns", "count_name", "doubted", "fault", "health", "last_ns"),
        *("fills", "keys", "reports", "sequence", "time_name", "why_impossible"),
    )

    def __init__(self, name: str, keys: DeviceKeys, fills: Fills, why_impossible: Callable[[Any], str]) -> None:
        self.age_ns = int(keys.overdue_after * 1e9)
        self.count_name, self.time_name = f"{name}_n", f"{name}_t"
        self.keys, self.fills, self.why_impossible = keys, fills, why_impossible
        self.health = Health.OVERDUE
        self.last_ns = self.sequence = self.doubted = -1
        self.reports = 0
        self.fault = ""

    def health_at(self, now_ns: int) -> Health:
        if self.fault:
            return Health.FAULTY
        return Health.OK if self.last_ns >= 0 and now_ns - self.last_ns <= self.age_ns else Health.OVERDUE

    def is_next(self, reading: Reading) -> bool:
        """Tell whether a report comes after the last; if numbers begin again, it is believed from the second on.

        Else one wrong number, or a driver that was made anew, would lock the device out for good.
        """
        if reading.sequence > self.sequence:
            self.doubted = -1
            return True
        is_newer, doubted = reading.taken_ns > self.last_ns, self.doubted
        begins_again = is_newer and 0 <= doubted < reading.sequence
        self.doubted = reading.sequence if is_newer and not begins_again else -1
        return begins_again


def _fills(robot: Robot, name: str) -> Fills:
    return tuple((attribute_of(f"{name}.{one}"), signal.of) for one, signal in robot.devices.signals(name).items())


class HealthWatch:
    """Keeps each device's health, and the signals that tell of reports: ok, how many, taken when."""

    def __init__(self, robot: Robot, signals: Signals) -> None:
        possible = checks(robot)
        self._signals = signals
        self._heading_steps = HeadingSteps(robot)
        self._devices = {
            name: _Device(name, keys, _fills(robot, name), possible[name])
            for name, keys in reporting(robot.devices).items()
        }
        self._going = {name: robot.going_without(name) for name in self._devices}
        self._missing_since: dict[str, int] = {}
        self._slowly = ""
        self._quiet_until_ns = -1
        self.impossible = 0
        signals.record_ok, signals.pose_doubted = True, False
        for name in (*SENSORS, *robot.devices.further):
            setattr(signals, f"{name}_ok", name in robot.devices.fitted() and name not in self._devices)
            setattr(signals, f"{name}_doubted", False)

    def accept(self, name: str, reading: Reading, now_ns: int) -> bool:
        """Count a report and fill its device's signals; return False for one that is out of order or impossible."""
        device = self._devices.get(name)
        if device is None:
            return False
        if reading.taken_ns > now_ns + CLOCK_SLACK_NS or not device.is_next(reading):
            self.impossible += 1
            return False
        if why := self._why_not(device, reading.value):
            self._quiet_until_ns = -1
            device.fault = why
            return False
        if name == "heading" and not self._heading_steps.follows(reading):
            self.impossible += 1
            return False
        device.fault = ""
        device.sequence, device.last_ns = reading.sequence, reading.taken_ns
        device.reports += 1
        signals = self._signals
        setattr(signals, device.count_name, device.reports)
        setattr(signals, device.time_name, reading.taken_ns)
        if now_ns - reading.taken_ns <= device.age_ns:  # else it waited somewhere, and tells nothing of now
            for attribute, of in device.fills:
                setattr(signals, attribute, of(reading.value, device.keys))
        return True

    def _why_not(self, device: _Device, value: Any) -> str:
        if isinstance(value, Fault):
            return one_line(str(value.why))
        why = device.why_impossible(value)
        self.impossible += why != ""
        return why

    def look(self, now_ns: int, faults: Sequence[tuple[str, str]], events: list[Event]) -> None:
        """Bring every device's health up to date, and note what has changed.

        Args:
            now_ns: time of the step.
            faults: (family, why) of drivers that failed: faulty until they report again, or (family, '') comes.
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

    def doubt(self, name: str, why: str, events: list[Event]) -> None:
        """Note that other sensors have shown a device to lie: for the rest of the run the robot goes on without it.

        It does so slowly where it knows less well where it goes, or where the robot file has it go slowly without.
        """
        setattr(self._signals, f"{name}_doubted", True)
        is_of_pose = name in ("counts", "heading")
        self._signals.pose_doubted = self._signals.pose_doubted or is_of_pose
        if is_of_pose or self._going[name].slowly:
            self._slowly = f"{name.replace('_', ' ')} doubted"
        events.append(HealthChange(name, Health.DOUBTED, why))

    def _give_up(self, family: str, why: str, events: list[Event]) -> None:
        if family == RECORD:
            self._signals.record_ok = False
        if family in self._devices:
            self._devices[family].fault = why
        else:
            events.append(HealthChange(family, Health.FAULTY, why))

    def _take_back(self, family: str, events: list[Event]) -> None:
        if family == RECORD:
            self._signals.record_ok = True
        if family in self._devices:
            self._devices[family].fault = ""
        else:
            events.append(HealthChange(family, Health.OK, ""))

    def missing(self, now_ns: int) -> Missing:
        """Return what the want of devices does to the wheels, as the robot file has it: some, for a time or for good.

        With neither counts nor heading nobody knows where the robot goes, so that it does not.
        """
        since = self._missing_since
        slowly = self._slowly
        if not since:
            return Missing("", slowly) if slowly else NOTHING_MISSING
        if "counts" in since and ("heading" in since or "heading" not in self._devices):
            return Missing("counts and heading missing")
        for family, since_ns in since.items():
            going = self._going[family]
            if now_ns - since_ns >= going.seconds * 1e9:
                return Missing(f"{family.replace('_', ' ')} missing")
            if going.slowly:
                slowly = f"{family.replace('_', ' ')} missing"
        return Missing("", slowly)
