"""What a run needs of whatever leads from power-up to permitted motion; `rover run` hands it in."""

from collections.abc import Callable
from typing import Any, Protocol

from rover.behaviour.vocabulary import SENSORS, Signals
from rover.core import StepReadings, StepRecord
from rover.events import Health, HealthChange
from rover.session.guard_watch import GuardWatch
from rover.session.hardware import RobotDevices
from rover.session.terminal import Terminal

NOT_ENABLED = "motion has not been enabled"
"""Cause of the stop with which every run on the robot begins."""
Say = Callable[[str], None]
"""Shows the person a line."""


class DeviceStates:
    """What has been seen of the devices in a run.

    Attributes:
        latest: the last value of each.
        not_ok: those whose health is another than ok.
        why: what was said at the last change of health, by device.
    """

    def __init__(self, signals: Signals) -> None:
        self.latest: dict[str, Any] = {}
        self.not_ok: set[str] = set()
        self.why: dict[str, str] = {}
        self._signals = signals

    def take(self, given: StepReadings, decided: StepRecord) -> None:
        """Take a step in."""
        self.latest.update((family, reading.value) for family, reading in given.new)
        for event in decided.events:
            if isinstance(event, HealthChange):
                self.why[event.device] = event.why
                (self.not_ok.discard if event.health is Health.OK else self.not_ok.add)(event.device)

    @property
    def healthy(self) -> frozenset[str]:
        """The devices that report, and are ok; further ones by their names."""
        return frozenset(name for name in {*SENSORS, *self.latest} if getattr(self._signals, f"{name}_ok", False))


class MotionStart(Protocol):
    """Goes from power-up to permitted motion, a little in each step, the wheels at zero."""

    @property
    def is_over(self) -> bool:
        """Motion has been enabled."""

    @property
    def status(self) -> str:
        """What is being done or waited for, until then."""

    @property
    def asks(self) -> bool:
        """It waits for a person's word."""

    def enable(self) -> None:
        """Take a person's word that motion is enabled, given elsewhere than at the terminal, where it waits for one."""

    def advance(self, now_ns: int, devices: DeviceStates, watch: GuardWatch) -> None:
        """Do what is due in a step; after motion has been enabled, see that the guard permits it.

        Raises:
            RunError: the run cannot begin.
        """


MakeStart = Callable[[RobotDevices, Terminal], MotionStart]
"""Makes the start of a run from what it is commanded through, and the terminal at which a person may be."""
