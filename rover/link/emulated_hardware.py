"""What stands behind the pins of the emulated co-processor: the protocol, and a machine on a stand."""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple, Protocol

CLOSED_S, OPEN_S = 0.0011, 0.0019
_NS_PER_S = 1_000_000_000


class HardwareState(NamedTuple):
    """What the sensors of a machine would say at a moment.

    Attributes:
        left, right: encoder counts of the two channels, forwards positive.
        heading, rate: rad and rad/s, field frame, counter-clockwise positive; None where no rate is measured.
        calibration: of the heading, 0 to 3.
        volts, amps: at the battery's terminals.
        opening, holding: of the jaws, as in `JawsValue`.
    """

    left: int
    right: int
    heading: float
    rate: float | None
    calibration: int
    volts: float
    amps: float
    opening: float | None
    holding: bool | None


class EmulatedHardware(Protocol):
    """What stands behind the co-processor's pins, and what befalls it and its line.

    Times never go back; one thread calls. Who inherits from this writes `sample`, `drive` and `servo`; nothing befalls
    it by default.
    """

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors say now."""

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Give the two channels a duty (-1 to 1) from now on."""

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Give the servo a pulse width (s) from now on; None lets it go limp."""

    def has_restarted(self) -> bool:
        """Tell whether it has lost its supply and come back since the last call: the firmware then starts anew."""
        return False

    def from_line(self, received: bytes, now_ns: int) -> bytes:
        """Return what arrives of bytes that were sent to it."""
        return received

    def onto_line(self, sentences: Sequence[tuple[type[Any], bytes]], now_ns: int) -> bytes:
        """Return what gets onto the line by now of sentences that are due, each with the type of its value."""
        return b"".join(sentence for _, sentence in sentences)


class WheelsFree(EmulatedHardware):
    """A machine on a stand: counts follow the duty at once, the heading stays, the jaws follow the servo at once."""

    def __init__(self, counts_per_second: float = 1500.0) -> None:
        self._counts_per_second = counts_per_second
        self._left = self._right = 0.0
        self._duty = (0.0, 0.0)
        self._opening: float | None = None
        self._since_ns: int | None = None

    def sample(self, now_ns: int) -> HardwareState:
        """Return what the sensors say now."""
        self._turn_wheels(now_ns)
        amps = 0.3 + abs(self._duty[0]) + abs(self._duty[1])
        left, right = math.floor(self._left), math.floor(self._right)
        return HardwareState(left, right, 0.0, 0.0, 3, 12.3 - 0.15 * amps, amps, self._opening, None)

    def drive(self, left: float, right: float, now_ns: int) -> None:
        """Give the two channels a duty (-1 to 1) from now on."""
        self._turn_wheels(now_ns)
        self._duty = (left, right)

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        """Give the servo a pulse width (s) from now on; limp jaws stay where they are."""
        if pulse_s is not None:
            self._opening = min(max((pulse_s - CLOSED_S) / (OPEN_S - CLOSED_S), 0.0), 1.0)

    def _turn_wheels(self, now_ns: int) -> None:
        elapsed_s = 0.0 if self._since_ns is None else (now_ns - self._since_ns) / _NS_PER_S
        self._left += self._duty[0] * self._counts_per_second * elapsed_s
        self._right += self._duty[1] * self._counts_per_second * elapsed_s
        self._since_ns = now_ns
