"""What is looked at before the first motion: with what is expected and what to do. Pure, but for `computer_state`."""

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from rover.devices.battery.keys import BatteryKeys
from rover.devices.families import reporting
from rover.devices.readings import BatteryValue, HeadingValue
from rover.files.robot import Robot
from rover.guard.protocol import State
from rover.readiness.finding import Finding, Verdict, judged
from rover.readiness.last_way import last_way
from rover.readiness.values import in_words
from rover.session.clocks import is_synchronised
from rover.session.motion_start import DeviceStates

DEVICES_WITHIN_S = 10.0
LEAST_SHARE_AT_REST = 0.86
"""A run begins with at least this share of the full battery's voltage: 3.6 V a cell of a lithium-ion one (rule of
thumb, from memory)."""
CALIBRATED = 3
LEAST_WAYS = 2
LEAST_FREE = 200_000_000
"""Bytes; a run of an hour leaves some 50 MB of readings."""


@dataclass(frozen=True)
class ComputerState:
    """What the computer itself tells: free bytes for the record, and whether its wall clock is set by a better one."""

    free: int
    synchronised: bool


def computer_state(folder: Path) -> ComputerState:
    """Return what the computer tells, for a record in ``folder``."""
    return ComputerState(shutil.disk_usage(folder).free, is_synchronised())


def findings(
    robot: Robot, guard: State | None, devices: DeviceStates, seconds: float, computer: ComputerState
) -> list[Finding]:
    """Return all findings, ``seconds`` after the devices began; the stop input is tried apart: it takes a person."""
    return [
        *_devices(robot, devices, seconds),
        *_calibration(devices.latest.get("heading")),
        *_battery(robot.devices.battery, devices.latest.get("battery")),
        _ways(guard),
        last_way(robot),
        *_computer(computer),
    ]


def is_ready(robot: Robot, healthy: Iterable[str]) -> bool:
    """Tell whether every device that reports is ok."""
    return set(reporting(robot.devices)) <= set(healthy)


def _devices(robot: Robot, devices: DeviceStates, seconds: float) -> Iterable[Finding]:
    fitted = robot.devices.fitted()
    for family in sorted(reporting(robot.devices)):
        is_healthy = family in devices.healthy
        silent = devices.why.get(family) or f"no report that is fresh after {seconds:.0f} s"
        yield judged(
            *(family, is_healthy, in_words(devices.latest.get(family)) if is_healthy else silent),
            f"reports within {DEVICES_WITHIN_S:.0f} s, none older than {fitted[family].overdue_after:g} s",
            f"see {_place(family, robot)}; is it connected?",
        )


def _place(family: str, robot: Robot) -> str:
    device = robot.devices.fitted()[family]
    on_link = f" and 'links: {device.on_link}:'" if device.on_link else ""
    return f"'devices: {family}:' (driver {device.driver}){on_link} in the robot file"


def _calibration(heading: HeadingValue | None) -> Iterable[Finding]:
    level = None if heading is None else heading.calibration
    if level is None:
        return
    yield judged(
        *("heading's calibration", level >= CALIBRATED, f"level {level}", f"level {CALIBRATED}, not 0"),
        "carry the robot slowly through all directions until the level is 3",
        otherwise=Verdict.NOTED if level else Verdict.OTHERWISE,
    )


def _battery(battery: BatteryKeys | None, value: BatteryValue | None) -> Iterable[Finding]:
    if battery is None or value is None:
        return
    volts = value.volts + (value.amps or 0.0) * battery.inner_resistance
    least = LEAST_SHARE_AT_REST * battery.full
    advice = "charge it, or put a full one in; is 'full:' of the battery right?"
    yield judged("battery at rest", volts >= least, f"{volts:.2f} V", f"at least {least:.2f} V", advice)


def _ways(guard: State | None) -> Finding:
    """Judge the ways to zero that the guard really holds, which may be less than the robot file names."""
    ways, fault = ("", "") if guard is None else (guard.ways_to_zero, guard.watchdog_fault)
    return judged(
        *(
            "ways to zero",
            len(ways.split(", ")) >= LEAST_WAYS and not fault,
            ways or "none",
            "two that are independent",
        ),
        fault or "the motor guard's log says what is wrong",
    )


def _computer(found: ComputerState) -> Iterable[Finding]:
    free, least = f"{found.free / 1e6:.0f} MB", f"at least {LEAST_FREE / 1e6:.0f} MB"
    yield judged("free disk", found.free >= LEAST_FREE, free, least, "make room: old records in runs/ can go")
    yield judged(
        *("clock", found.synchronised, "set by another" if found.synchronised else "not synchronised", "synchronised"),
        "nothing depends on it but dates: the record's and those of notices",
        otherwise=Verdict.NOTED,
    )


class StopTrial:
    """The stop input has to be seen open and then closed, once, before it is relied on."""

    def __init__(self) -> None:
        self._was_open = False
        self.is_done = False

    def see(self, closed: bool) -> None:
        """Take a report of the stop input."""
        self._was_open = self._was_open or not closed
        self.is_done = self.is_done or (self._was_open and closed)
