"""Fakes that play a script: sensors that report a list of values, actuators that keep what they are told, and
lines that are files in a folder.

They do not model hardware: no noise, no delay, no limits. For those there is the bench (`rover.bench`).
"""

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from rover.devices.readings import (
    BatteryValue,
    Detections,
    HeadingValue,
    JawsValue,
    RangeValue,
    Reading,
    StopInputValue,
    WheelCounts,
)

_NS = 1e9


class Scripted:
    """A sensor that plays ``script``: a list of [time, value, value...], times (s) counted from the first poll.

    Each entry is reported at the first poll at or after its time, as taken then. Values are those of the family's
    value type in their order; left out, they have its defaults. Quantities in a robot file carry their units.
    """

    VALUE: Any

    def __init__(self, options: Mapping[str, Any], host: Any = None) -> None:
        self._script = [(float(entry[0]), entry[1:]) for entry in options.get("script", ())]
        if any(later < earlier for (earlier, _), (later, _) in zip(self._script, self._script[1:], strict=False)):
            raise ValueError("the times of a script must not go back; put its entries in order")
        self._started_ns: int | None = None
        self._next = 0

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the entries that have become due."""
        if self._started_ns is None:
            self._started_ns = now_ns
        readings: list[Reading] = []
        while self._next < len(self._script):
            after_s, values = self._script[self._next]
            taken_ns = self._started_ns + round(after_s * _NS)
            if taken_ns > now_ns:
                break
            readings.append(Reading(taken_ns, self._next, self.VALUE(*values)))
            self._next += 1
        return readings

    def close(self) -> None:
        """Report no more."""
        self._next = len(self._script)


class Counts(Scripted):
    """Entries [time, left, right, boot]."""

    VALUE = WheelCounts


class Heading(Scripted):
    """Entries [time, angle, rate, calibration]."""

    VALUE = HeadingValue


class Range(Scripted):
    """Entries [time, distance]; a distance left out is no echo."""

    @staticmethod
    def VALUE(distance: float | None = None) -> RangeValue:  # noqa: N802  it stands in for a value type
        """Return the value of an entry."""
        return RangeValue(distance)


class Camera(Scripted):
    """Entries [time]: frames in which nothing is found; or, from Python, [time, objects]."""

    @staticmethod
    def VALUE(objects: Sequence[Any] = ()) -> Detections:  # noqa: N802  it stands in for a value type
        """Return the value of an entry."""
        return Detections(tuple(objects))


class Battery(Scripted):
    """Entries [time, volts, amps]."""

    VALUE = BatteryValue


class StopInput(Scripted):
    """Entries [time, closed], closed being true or false."""

    VALUE = StopInputValue


class _Told:
    """What actuators have in common: they keep what they are told.

    Attributes:
        commands: (time in ns, command), the oldest first.
    """

    def __init__(self) -> None:
        self.commands: list[tuple[int, Any]] = []

    def apply(self, command: Any, now_ns: int) -> None:
        """Keep a command."""
        self.commands.append((now_ns, command))


class Drive(_Told):
    """Keeps the commands of the drive."""

    def __init__(self, options: Mapping[str, Any], host: Any = None) -> None:
        super().__init__()

    def close(self) -> None:
        """Do nothing."""


class Gripper(_Told, Scripted):
    """Keeps the commands of the jaws, and plays entries [time, opening, holding]."""

    VALUE = JawsValue

    def __init__(self, options: Mapping[str, Any], host: Any = None) -> None:
        _Told.__init__(self)
        Scripted.__init__(self, options, host)


class FolderLines:
    """Lines that are files ``lineN`` in a folder, holding ``1`` or ``0``: for trials on a computer without pins.

    An output writes its file, an input reads it whenever it is asked; there are no edges, and a file that is missing
    is an input that floats high, as one with a pull-up and nothing connected does.
    """

    def __init__(self, folder: Path, lines: Iterable[int], *, is_output: bool) -> None:
        self._paths = {line: folder / f"line{line}" for line in lines}
        if is_output:
            self.set_values(dict.fromkeys(self._paths, False))

    def set_values(self, levels: Mapping[int, bool]) -> None:
        """Write the levels of some lines."""
        for line, level in levels.items():
            descriptor = os.open(self._paths[line], os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o644)
            try:
                os.pwrite(descriptor, b"1\n" if level else b"0\n", 0)
            finally:
                os.close(descriptor)

    def get_values(self, lines: Iterable[int]) -> list[bool]:
        """Return the levels of some lines."""
        return [self._level(self._paths[line]) for line in lines]

    def wait_edge_events(self, timeout: float) -> bool:
        """Tell that there are none."""
        return False

    def release(self) -> None:
        """Do nothing: no file stays open."""

    @staticmethod
    def _level(path: Path) -> bool:
        try:
            return path.read_text("ascii").strip() != "0"
        except FileNotFoundError:
            return True
