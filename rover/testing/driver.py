"""What is checked: a driver, what the robot file says of its device, and how time goes on for it."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol

import yaml

from rover.devices.families import reporting
from rover.devices.keys import DeviceKeys
from rover.devices.meanwhile import in_a_thread
from rover.devices.protocols import DriverContext
from rover.devices.registry import load_class, load_driver
from rover.files import load, yaml_source
from rover.files.robot import Robot
from rover.session.driver import made
from rover.session.drivers import ACTUATORS

UNNAMED = "device"
"""What a device of no family is called where no robot file names it."""
_ROBOT = {
    "robot": "A driver under test",
    "body": {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
}
_REST = {"drive": {"driver": "scripted"}, "counts": {"driver": "scripted"}}


class Clock(Protocol):
    """The time that is passed to a driver."""

    def now_ns(self) -> int:
        """Return the time (ns)."""
        ...

    def sleep_until(self, due_ns: int) -> None:
        """Return at a time (ns), or at once if it has passed."""
        ...


class MonotonicClock:
    """The time of the robot's loop."""

    def now_ns(self) -> int:
        """Return the monotonic time (ns)."""
        return time.monotonic_ns()

    def sleep_until(self, due_ns: int) -> None:
        """Wait for it."""
        time.sleep(max(0, due_ns - time.monotonic_ns()) * 1e-9)


class SteppedClock:
    """A time that goes on as soon as somebody waits for it: for a driver that has no thread and no hardware."""

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        """Return the time (ns)."""
        return self._now_ns

    def sleep_until(self, due_ns: int) -> None:
        """Be there at once."""
        self._now_ns = max(self._now_ns, due_ns)


def _nothing(now_ns: int) -> None:
    """Have no hardware that would have to be moved on."""


@dataclass(frozen=True)
class DriverUnderTest:
    """A driver, and what it is held to.

    Attributes:
        make: makes it, each time a new one for the same device.
        robot: the robot file.
        name: what that calls the device, or the output.
        hardware: emulated hardware goes on here: called with the time (ns) before each poll or command.
        told: of what is commanded, on emulated hardware: returns what that has been told; None: nobody knows.
        new_clock: returns the clock of a trial.
    """

    make: Callable[[], Any]
    robot: Robot
    name: str
    hardware: Callable[[int], object] = _nothing
    told: Callable[[], object] | None = None
    new_clock: Callable[[], Clock] = MonotonicClock

    @property
    def device(self) -> DeviceKeys:
        """What the robot file says of a device."""
        return self.robot.devices.fitted()[self.name]

    @property
    def reports(self) -> bool:
        """It is polled, and says something."""
        return self.name in reporting(self.robot.devices)

    @property
    def acts(self) -> bool:
        """It is commanded."""
        return self.name in (*ACTUATORS, *self.robot.outputs)


def under_test(driver: type, keys: Mapping[str, Any], **more: Any) -> DriverUnderTest:
    """Return a driver of a device or an output that stands in no robot file.

    Args:
        driver: the class.
        keys: what would stand there, quantities with their units: ``{"family": "range", "most": "2 m"}``; for a device
            of no family ``{"signals": {"pressed": "yes or no"}}``, for an output ``{"rest": "0 %"}``.
        more: further attributes of `DriverUnderTest`, such as ``hardware``.

    Raises:
        FileProblems: the keys cannot be.
    """
    keys = {"driver": f"{driver.__module__}:{driver.__qualname__}", **keys}
    name = keys.pop("family", UNNAMED)
    blocks = {"devices": _REST | {name: keys}} if "rest" not in keys else {"devices": _REST, "outputs": {name: keys}}
    source = yaml_source.read_text(yaml.safe_dump(_ROBOT | blocks, sort_keys=False), Path(), driver.__qualname__)
    return in_robot(load.build(Robot, source), name, driver, **more)


def in_robot(
    robot: Robot, name: str, driver: type | None = None, links: Mapping[str, Any] = MappingProxyType({}), **more: Any
) -> DriverUnderTest:
    """Return the driver of a device or an output of a robot file.

    Args:
        robot: the robot file.
        name: what it calls the device.
        driver: the class; None: the one that the file names, which is imported now.
        links: serial links that are open, by name.
        more: further attributes of `DriverUnderTest`.

    Raises:
        LoadError: there is no such driver.
    """
    context = DriverContext(robot, 1, links, name=name, meanwhile=in_a_thread)
    if name in robot.outputs:
        output = robot.outputs[name]
        cls = driver or load_class(output.driver, f"driver of output '{name}'")
        return DriverUnderTest(partial(made, cls, output, context, ("apply", "close")), robot, name, **more)
    device = robot.devices.fitted()[name]
    cls = driver or load_driver(robot.devices.family_of(name), device.driver)
    needed = ("apply" if name in ACTUATORS else "poll", "close")
    return DriverUnderTest(partial(made, cls, device, context, needed), robot, name, **more)
