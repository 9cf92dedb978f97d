"""Light and buzzer: what the robot is about, told at a distance by rhythm alone."""

from enum import Enum
from typing import NamedTuple

from rover.devices.kernel.gpio import OutputLines

_MS = 1_000_000


class Mood(Enum):
    """What the indicator tells, the most urgent first."""

    STOPPED = "stopped"
    FAULT = "fault"
    HELD_BACK = "held back"
    WAITING = "waiting for the operator"
    MOVING = "moving"
    STANDING = "standing still"
    OFF = "off"


class Shown(NamedTuple):
    """Whether the light is lit and the buzzer sounds."""

    light: bool
    buzzer: bool


DARK = Shown(False, False)

# mood -> (lengths in ms of on, off, on, off ... repeated), and whether the buzzer goes along in the first round.
_RHYTHMS: dict[Mood, tuple[tuple[int, ...], bool]] = {
    Mood.STOPPED: ((100, 100), True),
    Mood.FAULT: ((100, 150, 100, 150, 100, 900), True),
    Mood.HELD_BACK: ((300, 300), False),
    Mood.WAITING: ((100, 150, 100, 1650), True),
    Mood.MOVING: ((500, 500), False),
    Mood.STANDING: ((100, 1900), False),
}


def pattern(mood: Mood, since_ns: int) -> Shown:
    """Return what is shown so long (ns) after a mood began. The buzzer sounds in the first round alone."""
    if mood not in _RHYTHMS:
        return DARK
    lengths, sounds = _RHYTHMS[mood]
    rounds, into_ns = divmod(since_ns, sum(lengths) * _MS)
    lit = True
    for length in lengths:
        if into_ns < length * _MS:
            break
        into_ns -= length * _MS
        lit = not lit
    return Shown(lit, lit and sounds and rounds == 0)


class Indicator:
    """Light and buzzer on output pins; either may be left out.

    Raises:
        DeviceError: a pin cannot be had.
    """

    def __init__(self, chip: str, light: int | None, buzzer: int | None) -> None:
        self._pins = (light, buzzer)
        self._lines = OutputLines(chip, [pin for pin in self._pins if pin is not None])
        self._mood, self._since_ns, self._shown = Mood.OFF, 0, DARK

    def show(self, mood: Mood, now_ns: int) -> None:
        """Show a mood; to be called at every step."""
        if mood is not self._mood:
            self._mood, self._since_ns = mood, now_ns
        shown = pattern(mood, now_ns - self._since_ns)
        if shown != self._shown:
            pairs = zip(self._pins, shown, strict=True)
            self._lines.set({pin: level for pin, level in pairs if pin is not None})
            self._shown = shown

    def close(self) -> None:
        """Go dark and silent, and let go of the pins."""
        self._lines.close()
