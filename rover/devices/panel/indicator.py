"""Light and buzzer: what the robot is about, shown at a distance by rhythm alone."""

from enum import Enum
from typing import NamedTuple

from rover.devices.kernel.gpio import OutputLines

_MS = 1_000_000


class Indication(Enum):
    """What the indicator tells, the most urgent first."""

    STOPPED = "stopped"
    FAULT = "fault"
    HELD_BACK = "held back"
    WAITING = "waiting for the operator"
    MOVING = "moving"
    STANDING = "standing still"
    OFF = "off"


class PanelOutputs(NamedTuple):
    """Whether the light is lit and the buzzer sounds."""

    light: bool
    buzzer: bool


DARK = PanelOutputs(False, False)

# indication -> (lengths in ms of on, off, on, off ... repeated), and whether the buzzer goes along in the first round.
_RHYTHMS: dict[Indication, tuple[tuple[int, ...], bool]] = {
    Indication.STOPPED: ((100, 100), True),
    Indication.FAULT: ((100, 150, 100, 150, 100, 900), True),
    Indication.HELD_BACK: ((300, 300), False),
    Indication.WAITING: ((100, 150, 100, 1650), True),
    Indication.MOVING: ((500, 500), False),
    Indication.STANDING: ((100, 1900), False),
}


def pattern(indication: Indication, since_ns: int) -> PanelOutputs:
    """Return what is shown so long (ns) after an indication began. The buzzer sounds in the first round alone."""
    if indication not in _RHYTHMS:
        return DARK
    lengths, sounds = _RHYTHMS[indication]
    rounds, into_ns = divmod(since_ns, sum(lengths) * _MS)
    lit = True
    for length in lengths:
        if into_ns < length * _MS:
            break
        into_ns -= length * _MS
        lit = not lit
    return PanelOutputs(lit, lit and sounds and rounds == 0)


class Indicator:
    """Light and buzzer on output pins; either may be left out.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, chip: str, light: int | None, buzzer: int | None) -> None:
        self._pins = (light, buzzer)
        self._lines = OutputLines(chip, [pin for pin in self._pins if pin is not None])
        self._indication, self._since_ns, self._shown = Indication.OFF, 0, DARK

    def show(self, indication: Indication, now_ns: int) -> None:
        """Show an indication; to be called at every step."""
        if indication is not self._indication:
            self._indication, self._since_ns = indication, now_ns
        shown = pattern(indication, now_ns - self._since_ns)
        if shown != self._shown:
            pairs = zip(self._pins, shown, strict=True)
            self._lines.set({pin: level for pin, level in pairs if pin is not None})
            self._shown = shown

    def close(self) -> None:
        """Go dark and silent, and let go of the pins."""
        self._lines.close()
