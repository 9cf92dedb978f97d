"""One device's driver at work: after a failure it is tried again, with growing waits, and if need be made anew."""

import contextlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from operator import is_
from typing import Any

from rover.devices.keys import DeviceKeys
from rover.devices.meanwhile import FAILURES, Meanwhile
from rover.devices.outputs.keys import OutputKeys
from rover.devices.protocols import DriverContext
from rover.devices.readings import DriveCommand, JawsCommand, OutputCommand, Reading, WheelCounts
from rover.devices.registry import LoadError
from rover.errors import UserError, in_short, in_words, one_line

FIRST_WAIT_NS, LONGEST_WAIT_NS = 100_000_000, 10_000_000_000
"""The wait before a try; it doubles from failure to failure, until the device has worked for the longest one."""
BACK = ""
"""In the place of what is wrong with a device: it is at work again."""

PLAIN = frozenset((float, int, bool, str, type(None)))
"""What the core reckons with, and the record holds to the last bit."""
Renew = Callable[[Any], "Future[Any]"]
"""Has a driver closed, and another one made in its place."""


@dataclass
class Changes:
    """What has become of drivers since a host last asked: (family, why) or (family, `BACK`), why to stop, and tries."""

    faults: list[tuple[str, str]] = field(default_factory=list)
    stops: list[str] = field(default_factory=list)
    tries: list[str] = field(default_factory=list)


class Waits:
    """When what failed is to be tried again.

    Attributes:
        due_ns: the time of the next try.
    """

    def __init__(self) -> None:
        self.due_ns = 0
        self._wait_ns, self._back_ns = FIRST_WAIT_NS, 0

    def begin(self, now_ns: int) -> None:
        """Note a first failure: the waits are short again if it has worked for long since the last one."""
        if now_ns - self._back_ns >= LONGEST_WAIT_NS:
            self._wait_ns = FIRST_WAIT_NS
        self.lengthen(now_ns)

    def lengthen(self, now_ns: int) -> None:
        """Note a try that failed."""
        self.due_ns = now_ns + self._wait_ns
        self._wait_ns = min(2 * self._wait_ns, LONGEST_WAIT_NS)

    def end(self, now_ns: int) -> None:
        """Note that it works."""
        self._back_ns = now_ns


class ReadingsInOrder:
    """The readings of the drivers that a device has one after the other, numbered as if it were one.

    A driver made anew counts its readings from the start, and so may its wheels: the sequence goes on, and the counts
    are of another boot.
    """

    def __init__(self) -> None:
        self._latest, self._first, self._drivers = -1, 0, 0

    def begin_another(self) -> None:
        """Take the next readings as those of a new driver."""
        self._drivers += 1
        self._first = self._latest + 1

    def take(self, reported: Iterable[Any]) -> list[Reading]:
        """Return what a driver reported.

        Raises:
            TypeError: it is no readings.
        """
        if reported == ():
            return []  # as mostly
        readings = [self._numbered(checked(one)) for one in reported]
        if readings:
            self._latest = max(self._latest, readings[-1].sequence)
        return readings

    def _numbered(self, reading: Reading) -> Reading:
        if not self._drivers:
            return reading
        taken_ns, sequence, value = reading
        if isinstance(value, WheelCounts):
            value = value._replace(boot=value.boot + self._drivers)
        return Reading(taken_ns, self._first + sequence, value)


def checked(reported: Any) -> Reading:
    """Return what a driver reported, with plain numbers.

    Raises:
        TypeError: it is no reading, or its time or number is not whole.
    """
    if not isinstance(reported, Reading):
        raise TypeError(f"poll returns Readings, and this one returned {in_short(reported)}")
    if not (isinstance(reported.taken_ns, int) and isinstance(reported.sequence, int)):
        raise TypeError(f"a Reading's time and sequence are whole numbers, and not those of {in_short(reported)}")
    value = reported.value
    if isinstance(value, Mapping):
        return reported._replace(value={name: plain(one) for name, one in value.items()})  # the core's own from now on
    if isinstance(value, tuple) and not PLAIN.issuperset(map(type, value)):
        return reported._replace(value=plain(value))
    return reported


def plain(value: Any) -> Any:
    """Return a value with the numbers of an array library, which reckon otherwise than Python's, as Python's own."""
    if type(value) in PLAIN:
        return value
    if isinstance(value, tuple):
        if PLAIN.issuperset(map(type, value)):
            return value
        inner = tuple(map(plain, value))
        if all(map(is_, inner, value)):
            return value
        return value._make(inner) if hasattr(value, "_make") else inner
    is_scalar = getattr(value, "shape", None) == () and hasattr(value, "item")
    return value.item() if is_scalar else value


class DriverAtWork:
    """A driver that is polled and told, each failure kept to itself.

    The first try after a failure takes the driver as it is, since most are hiccups; further ones have it closed and
    made anew with the same options. Never made anew is what the motor guard holds, and an actuator that only failed
    to report: closing that would let go of what it holds.

    An actuator that fails is told to stand still if it can still be told, and is told nothing before the stop that
    its host latches has ended: what comes back does not move by itself.

    Args:
        family: of the device, or its name.
        driver: made already.
        renew: closes the one given and makes another; None: nobody here can.
        changes: where it is noted that it was lost, and when it is back.
        rest: returns the command, by number and time of its end, with which an actuator stands still; None: it does so
            without one, as jaws do.

    Attributes:
        driver: the present one.
        is_closed: it has been let go of.
    """

    def __init__(
        self,
        family: str,
        driver: Any,
        renew: Renew | None,
        changes: "Changes",
        rest: Callable[[int, int], Any] | None = None,
    ) -> None:
        self.family, self.driver = family, driver
        self.is_sensor, self.is_actuator = hasattr(driver, "poll"), hasattr(driver, "apply")
        self.is_closed = False
        self._renew, self._changes, self._rest = renew, changes, rest
        self._why = self._last_why = ""
        self._lost = self._returned = 0
        self._opening: Future[Any] | None = None
        self._could_not_act = self._waits_for_resume = False
        self._tries = self._failed = 0
        self._waits, self._readings = Waits(), ReadingsInOrder()

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the new readings; of a device that is away those of a try, if one is due. Never raises."""
        if self._why and now_ns < self._waits.due_ns:
            return ()
        try:
            if self._why and not self._is_there():
                return ()
            readings = self._readings.take(self.driver.poll(now_ns)) if self.is_sensor else ()
        except FAILURES as error:
            self._lose(error, now_ns)
            return ()
        if self._why:
            self._come_back(now_ns)
        return readings

    def tell(self, command: DriveCommand | JawsCommand | OutputCommand, now_ns: int, is_stopped: bool) -> None:
        """Tell an actuator, unless it is away or was and the stop has not ended since. Never raises."""
        if self._could_not_act or (self._waits_for_resume and is_stopped):
            return
        self._waits_for_resume = False
        try:
            self.driver.apply(command, now_ns)
        except FAILURES as error:
            self._could_not_act = self._waits_for_resume = True
            with contextlib.suppress(*FAILURES):
                self._stand_still(command.sequence, now_ns)
            self._lose(error, now_ns)
            self._changes.stops.append(f"{self.family}: {self._why}")

    def close(self) -> None:
        """Let go of the driver, also of one that is still being made."""
        self.is_closed = True
        if self._opening is not None:
            self._opening.add_done_callback(_close_late)
        self.driver.close()

    @property
    def is_away(self) -> bool:
        """It has failed, and is not back."""
        return self._why != ""

    @property
    def remark(self) -> str:
        """How often it was lost and came back, in words; empty if never."""
        if not self._lost:
            return ""
        times = f"lost {_times(self._lost)}, brought back {_times(self._returned)}"
        return f"{self.family}: {times}{', away at the end' if self._why else ''} ({self._last_why})"

    def _lose(self, error: BaseException, now_ns: int) -> None:
        if self._why:
            self._failed += 1
            self._changes.tries.append(f"{self.family}: try {self._failed} to bring it back failed: {in_words(error)}")
            self._waits.lengthen(now_ns)
            return
        self._waits.begin(now_ns)
        self._lost += 1
        self._tries = 0
        is_told = isinstance(error, UserError) and str(error)
        self._why = self._last_why = one_line(str(error)) if is_told else f"its driver raised {in_words(error)}"
        self._changes.faults.append((self.family, self._why))

    def _come_back(self, now_ns: int) -> None:
        self._waits.end(now_ns)
        self._changes.tries.append(f"{self.family}: brought back at try {self._failed + 1}")
        self._why = ""
        self._returned += 1
        self._changes.faults.append((self.family, BACK))
        if self._waits_for_resume:
            self._changes.stops.append(f"{self.family}: its driver is back at work")

    def _is_there(self) -> bool:
        """Tell whether there is a driver to be tried: the old one, or another that has been made by now."""
        if self._renew is not None and self._tries and (self._could_not_act or not self.is_actuator):
            if self._opening is None:
                self._opening = self._renew(self.driver)
            if not self._opening.done():
                return False
            opening, self._opening = self._opening, None
            self.driver = opening.result()
            self._readings.begin_another()
        self._tries += 1
        if self._could_not_act:
            self._stand_still(0, self._waits.due_ns)
            self._could_not_act = False
        return True

    def _stand_still(self, sequence: int, now_ns: int) -> None:
        if self._rest is not None:
            self.driver.apply(self._rest(sequence, now_ns + FIRST_WAIT_NS), now_ns)


def wheels_at_rest(sequence: int, expires_ns: int) -> DriveCommand:
    """Return the command with which wheels stand still."""
    return DriveCommand(0.0, 0.0, sequence, expires_ns)


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _close_late(opening: "Future[Any]") -> None:
    with contextlib.suppress(*FAILURES):
        opening.result().close()


def renewed(meanwhile: Meanwhile, make: Callable[[], Any], old: Any) -> "Future[Any]":
    """Have a driver closed and another one made in its place."""

    def instead() -> Any:
        with contextlib.suppress(*FAILURES):
            old.close()
        return make()

    return meanwhile(instead)


def made(cls: Any, keys: DeviceKeys | OutputKeys, context: DriverContext, needed: Sequence[str]) -> Any:
    """Return a new driver.

    Args:
        cls: its class.
        keys: of its device.
        context: what it is given besides; with the device's name.
        needed: the methods that it must have.

    Raises:
        LoadError: it cannot be had, or lacks a method.
    """
    name, driver = context.name, keys.driver
    try:
        new = cls(keys.options, context)
    except LoadError:
        raise
    except (UserError, OSError, ValueError) as error:
        raise LoadError(f"{name}: {' '.join(str(error).split()) or in_words(error)}") from error
    except FAILURES as error:
        raise LoadError(f"{name}: driver '{driver}' cannot be made: it raised {in_words(error)}") from error
    if missing := [method for method in needed if not callable(getattr(new, method, None))]:
        lacks = " and no ".join(f"{method}()" for method in missing)
        raise LoadError(f"{name}: driver '{driver}' has no {lacks}; DEVELOPERS.md has what it needs")
    return new
