"""Ultrasonic range finder on two pins: a trigger pulse out, an echo pulse back, both its edges timed by the kernel."""

import math
import time
from collections import deque
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any

from rover.devices.kernel.gpio import Edge, InputLines, OutputLines
from rover.devices.range.keys import LEAST_PING_CYCLE_S
from rover.devices.readings import RangeValue, Reading

TRIGGER_S = 10e-6
"""Shortest trigger pulse that such sensors take; a longer one does no harm."""
_RISES_WITHIN_NS = 10_000_000
_NS = 1e9


def speed_of_sound(celsius: float) -> float:
    """Return the speed of sound in dry air (m/s) at a temperature (degrees Celsius), for -20 to 50.

    Source: ISO 9613-1, Acoustics - Attenuation of sound during propagation outdoors - Part 1 (1993), formula A.5.
    """
    return 343.2 * math.sqrt((celsius + 273.15) / 293.15)


class RefusedEcho(Enum):
    """Why an echo pulse was refused."""

    TOO_SHORT = "shorter than the nearest distance the sensor can tell"
    CROSSTALK = "not begun by this sensor's own ping"


class EchoTimer:
    """What one ping brought, out of the edges of the echo line. Pure: no clock, no pins.

    Args:
        least, most: nearest and farthest distance (m) that counts as an echo.
        celsius: temperature of the air.
    """

    def __init__(self, least: float, most: float, celsius: float) -> None:
        self._metres_per_ns = speed_of_sound(celsius) / 2.0 / _NS
        self._least, self._most = least, most
        self._pinged_ns = 0
        self._rose_ns: int | None = None
        self._spoilt = False

    def ping(self, now_ns: int) -> None:
        """Begin anew: a ping went out."""
        self._pinged_ns, self._rose_ns, self._spoilt = now_ns, None, False

    def see(self, edge: Edge) -> tuple[int, RangeValue] | RefusedEcho | None:
        """Take an edge; return (time the echo was made, value) or why it was refused when a pulse has ended.

        A pulse longer than the way to ``most`` and back is no echo: that is how such sensors say so.
        """
        if edge.rising:
            self._spoilt = self._rose_ns is not None or not 0 <= edge.taken_ns - self._pinged_ns <= _RISES_WITHIN_NS
            self._rose_ns = edge.taken_ns
            return None
        if self._rose_ns is None:
            return None
        rose_ns, self._rose_ns = self._rose_ns, None
        if self._spoilt:
            return RefusedEcho.CROSSTALK
        distance = (edge.taken_ns - rose_ns) * self._metres_per_ns
        if distance < self._least:
            return RefusedEcho.TOO_SHORT
        if distance > self._most:
            return rose_ns, RangeValue(None)
        return (rose_ns + edge.taken_ns) // 2, RangeValue(distance)


class MedianOf:
    """Median of the last ``size`` measurements; no echo counts as farther than any. Pure.

    The median counts as taken when the middle one of them was, so times never go back.
    """

    def __init__(self, size: int, lasts_ns: int) -> None:
        self._last: deque[tuple[int, RangeValue]] = deque(maxlen=size)
        self._lasts_ns = lasts_ns

    def add(self, taken_ns: int, value: RangeValue) -> tuple[int, RangeValue] | None:
        """Add a measurement; return (time, median), None until there are enough that are recent."""
        while self._last and taken_ns - self._last[0][0] > self._lasts_ns:
            self._last.popleft()
        self._last.append((taken_ns, value))
        if len(self._last) < (self._last.maxlen or 1):
            return None
        middle = len(self._last) // 2
        return self._last[middle][0], sorted((value for _, value in self._last), key=_farness)[middle]


def _farness(value: RangeValue) -> float:
    return math.inf if value.distance is None else value.distance


class Range:
    """The sensor, pinged from `poll` at the device's ``rate`` but never before the last echoes have died away.

    A sensor that is unplugged raises no echo line, so nothing is reported and the device becomes overdue. One that
    raises it and hears nothing is reported as no echo.

    Attributes:
        refused: echo pulses refused so far, by why.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._trigger, self._echo = options["trigger"], options["echo"]
        self._cycle_ns = round(max(1.0 / options["rate"], LEAST_PING_CYCLE_S) * _NS)
        self._timer = EchoTimer(options["least"], options["most"], options["temperature"])
        size = options["median_of"]
        self._median = MedianOf(size, 2 * size * self._cycle_ns)
        self._inputs = InputLines(options["gpio"], [self._echo])
        try:
            self._outputs = OutputLines(options["gpio"], [self._trigger])
        except BaseException:
            self._inputs.close()
            raise
        self._next_ns = 0
        self._sequence = 0
        self.refused = dict.fromkeys(RefusedEcho, 0)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the distances that came in as `RangeValue`; send the next ping when it is due."""
        readings = [reading for edge in self._inputs.edges() if (reading := self._follow(edge)) is not None]
        if now_ns >= self._next_ns:
            self._ping(now_ns)
        return readings

    def close(self) -> None:
        """Let go of the pins."""
        self._outputs.close()
        self._inputs.close()

    def _follow(self, edge: Edge) -> Reading | None:
        found = self._timer.see(edge)
        if isinstance(found, RefusedEcho):
            self.refused[found] += 1
            return None
        median = None if found is None else self._median.add(*found)
        if median is None:
            return None
        self._sequence += 1
        return Reading(median[0], self._sequence, median[1])

    def _ping(self, now_ns: int) -> None:
        self._next_ns = now_ns + self._cycle_ns
        if self._inputs.is_high(self._echo):  # it still listens for the last one; another ping would confuse it
            return
        self._timer.ping(now_ns)
        self._outputs.set({self._trigger: True})
        _wait(TRIGGER_S)
        self._outputs.set({self._trigger: False})


def _wait(seconds: float) -> None:
    """Spend a few microseconds: too short to give the processor away."""
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        pass
