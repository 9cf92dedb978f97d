"""The keys of jog, and hold-to-run: what they want, by time. Pure.

*Hold-to-run* is the standards' term (ISO 12100:2010, 3.28.3): a control that starts and keeps up motion only as long
as it is held. A terminal tells a held key by repeating it; each repetition is one word, and a word moves the robot
for `WORD_LASTS_NS` at most.

The letters: with `s` as the stop of every command in the middle, the four round it drive. In no widely used order of
letters does one that stops mean here that the robot moves; a letter that is none of these ends a motion at once.
"""

from enum import Enum

from rover.files.robot import Robot
from rover.motion.request import Request
from rover.session.terminal import STOP_KEYS

WORD_LASTS_NS = 200_000_000
"""Leaves 100 ms of the 300 ms for the way to the motors."""
SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0)
FIRST_SHARE = 2


class Key(Enum):
    """What a key means."""

    FORWARDS = "forwards"
    BACKWARDS = "backwards"
    LEFT = "left"
    RIGHT = "right"
    STOP = "stop"
    RESET = "reset"
    RESUME = "resume"
    FASTER = "faster"
    SLOWER = "slower"
    QUIT = "quit"
    OTHER = "other"


KEYS = {key.encode(): Key.STOP for key in STOP_KEYS} | {
    b"w": Key.FORWARDS,
    b"x": Key.BACKWARDS,
    b"a": Key.LEFT,
    b"d": Key.RIGHT,
    b"r": Key.RESET,
    b"g": Key.RESUME,
    b"+": Key.FASTER,
    b"=": Key.FASTER,
    b"-": Key.SLOWER,
    b"q": Key.QUIT,
    b"\x04": Key.QUIT,
}
ARROWS = {b"A": Key.FORWARDS, b"B": Key.BACKWARDS, b"D": Key.LEFT, b"C": Key.RIGHT}
DIRECTIONS = {
    Key.FORWARDS: (1.0, 0.0),
    Key.BACKWARDS: (-1.0, 0.0),
    Key.LEFT: (0.0, 1.0),
    Key.RIGHT: (0.0, -1.0),
}
"""Shares of speed and turn rate."""
HELP = (
    "   w      w forwards, x backwards, a left, d right, or the arrows: while held\n"
    " a s d    s, space, Enter: stop    r: reset    g: permit motion (again)\n"
    "   x      + -: speed    q: end\n"
    "Keep people off the field: no substitute for a hard-wired emergency stop."
)


def keys_in(typed: bytes) -> tuple[list[Key], bytes]:
    """Return the keys in what a terminal sent, and the beginning of a sequence whose end is still to come."""
    keys: list[Key] = []
    while typed:
        if typed in (b"\x1b", b"\x1b[", b"\x1bO"):
            return keys, typed
        length = 3 if typed[:2] in (b"\x1b[", b"\x1bO") else 1
        key, typed = typed[:length], typed[length:]
        keys.append(ARROWS.get(key[2:], Key.OTHER) if length == 3 else KEYS.get(key, Key.OTHER))
    return keys, b""


class HoldToRun:
    """What the keys want, by time: a word holds for `WORD_LASTS_NS` at most, and another key ends it at once.

    Attributes:
        share: of the robot file's limits.
        until_ns: when the last word has run out; nothing but a new one moves it.
    """

    def __init__(self) -> None:
        self.until_ns = 0
        self._direction = (0.0, 0.0)
        self._step = FIRST_SHARE

    @property
    def share(self) -> float:
        """The share of the limits at which keys drive."""
        return SHARES[self._step]

    def press(self, key: Key, now_ns: int, lasts_ns: int = WORD_LASTS_NS) -> None:
        """Take a key; its word lasts so long, and no longer than any."""
        if key in DIRECTIONS:
            self._direction, self.until_ns = DIRECTIONS[key], now_ns + min(lasts_ns, WORD_LASTS_NS)
            return
        self.until_ns = 0
        if key in (Key.FASTER, Key.SLOWER):
            self._step = max(0, min(len(SHARES) - 1, self._step + (1 if key is Key.FASTER else -1)))

    def wanted(self, robot: Robot, now_ns: int) -> Request | None:
        """Return the motion that is wanted now; None: no key is held."""
        if now_ns >= self.until_ns:
            return None
        speed, turn = (self.share * share for share in self._direction)
        return Request(speed * robot.limits.speed, turn * robot.limits.turn_rate)
