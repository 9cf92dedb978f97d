"""Jog: driving by hand with the keys of a terminal, hold-to-run.

*Hold-to-run* is the standards' term (ISO 12100:2010, 3.28.3): a control that starts and keeps up motion only as long
as it is held. A terminal tells a held key by repeating it; each repetition is one word, and a word moves the robot
for `WORD_LASTS_NS` at most. That expiry goes with every command to the motor guard, which enforces it, and nobody
renews it. A key that is held makes a short move, then a steady one, as the terminal's repetition sets in.
"""

import contextlib
import math
import os
import select
import shutil
import termios
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import Enum
from typing import Any

from rover.events import HoldBack, Note
from rover.files.robot import Robot
from rover.guard.protocol import State
from rover.motion.carriage import Carriage
from rover.motion.request import Request
from rover.session.by_hand import PERIOD_NS, ManualSession, TimedReading
from rover.session.terminal import STALE_NS, STOP_KEYS
from rover.stopping import Phase

WORD_LASTS_NS = 200_000_000
"""Leaves 100 ms of the 300 ms for the way to the motors."""
SHOW_EVERY_NS = 100_000_000
SILENT_NS = 1_000_000_000
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
    b"i": Key.FORWARDS,
    b"k": Key.BACKWARDS,
    b"j": Key.LEFT,
    b"l": Key.RIGHT,
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
    "i k j l or arrows: drive while held    s, space or Enter: stop    r: reset    g: permit motion (again)\n"
    "+ -: speed    q: end    Keep the field clear of people: this is no substitute for a hard-wired emergency stop."
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
    """What the keys want, by time: a word holds for `WORD_LASTS_NS`, and another key ends it at once. Pure.

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

    def press(self, key: Key, now_ns: int) -> None:
        """Take a key."""
        if key in DIRECTIONS:
            self._direction, self.until_ns = DIRECTIONS[key], now_ns + WORD_LASTS_NS
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


class Steering:
    """From wanted motion to duties, through the limits as in a run; where the field ends, the person has to know.

    Counts are not relied on: who jogs may still be finding out which way they run.
    """

    def __init__(self, robot: Robot) -> None:
        self._track = robot.body.effective_track
        self._carriage = Carriage(robot)
        self._last_ns = 0

    @property
    def causes(self) -> tuple[str, ...]:
        """The hold-backs in force."""
        return self._carriage.limits.causes

    def hear(self, readings: list[TimedReading]) -> None:
        """Take in what range finders and bumpers said."""
        for each in readings:
            self._carriage.take(each.family, each.reading.value)

    def duties(self, request: Request, now_ns: int) -> tuple[float, float]:
        """Return the duties (left, right) for a request now."""
        seconds, self._last_ns = min(PERIOD_NS, now_ns - self._last_ns) / 1e9, now_ns
        allowed = self._carriage.allow(request, now_ns, seconds)
        self._carriage.echoes.moved(allowed.speed * seconds, allowed.turn_rate * seconds)
        return self._carriage.duties(self._carriage.wheel_speeds(allowed, self._track), (None, None), seconds)

    def rest(self) -> None:
        """Begin the next ramp at zero."""
        self._carriage.limits.stop()


class Jog:
    """Jogging with a robot at hand.

    Args:
        session: guard, drivers and record.
        descriptor: the terminal, which gives keys as they are pressed.
        show: shows a line in place of the last one.
    """

    def __init__(self, session: ManualSession, descriptor: int, show: Callable[[str], None]) -> None:
        self._session, self._descriptor, self._show = session, descriptor, show
        self._held, self._steering = HoldToRun(), Steering(session.robot)
        self._typed = b""
        self._turn_ns = session.now_ns
        self._shown_ns = 0
        self._stop_is_due = self._is_moving = self._ended = False
        self._noted: Key | None = None
        self._causes: tuple[str, ...] = ()

    def run(self) -> None:
        """Drive until the person ends it."""
        while not self._ended:
            self._steering.hear(self._session.poll())
            self._listen()
            self._drive(self._session.now_ns)
            self._tell(self._session.now_ns)

    def _listen(self) -> None:
        """Wait 20 ms for keys at most, and take them; what comes after a standstill is not a word of now."""
        is_ready = select.select([self._descriptor], [], [], PERIOD_NS / 1e9)[0]
        now_ns = self._session.now_ns
        is_stale, self._turn_ns = now_ns - self._turn_ns > STALE_NS, now_ns
        if not is_ready:
            return
        typed = os.read(self._descriptor, 1024)
        keys, self._typed = keys_in(self._typed + typed)
        for key in keys if typed else [Key.QUIT]:
            if not is_stale or key in (Key.STOP, Key.QUIT):
                self._take(key, now_ns)

    def _take(self, key: Key, now_ns: int) -> None:
        self._held.press(key, now_ns)
        client = self._session.client
        match key:
            case Key.STOP:
                self._stop_is_due = True
            case Key.RESET:
                client.reset()
            case Key.RESUME:
                client.go_on()
            case Key.QUIT:
                self._ended = True
        if key is not self._noted:
            self._noted = key
            self._session.record(Note("jog", key.value))

    def _drive(self, now_ns: int) -> None:
        if self._stop_is_due:
            self._stop_is_due = not self._session.client.stop("stopped at the jog terminal")
        request = self._held.wanted(self._session.robot, now_ns)
        if request is not None and self._session.is_running and not self._stop_is_due:
            self._session.drive(*self._steering.duties(request, now_ns), self._held.until_ns)
            self._is_moving = True
        elif self._is_moving:
            self._steering.rest()
            self._session.drive(0.0, 0.0, now_ns + WORD_LASTS_NS)
            self._is_moving = False
        before, self._causes = self._causes, self._steering.causes
        for cause in sorted({*before} ^ {*self._causes}):
            self._session.record(HoldBack(cause, ended=cause in before))

    def _tell(self, now_ns: int) -> None:
        if now_ns - self._shown_ns >= SHOW_EVERY_NS or self._ended:
            self._shown_ns = now_ns
            self._show(status(self._session, self._held.share, self._steering.causes, now_ns))


def status(session: ManualSession, share: float, causes: tuple[str, ...], now_ns: int) -> str:
    """Return one line: how the guard stands, the speed, and what the sensors say."""
    standing = _standing(session.state, session.is_running, now_ns)
    latest = [text(session.latest[family].value) for family, text in SHOWN.items() if family in session.latest]
    held_back = [f"held back: {', '.join(causes)}"] if causes else []
    return "  ".join([standing, f"speed {share:.0%}", *latest, *held_back])


SHOWN: dict[str, Callable[[Any], str]] = {
    "counts": lambda value: f"counts {value.left:+d} {value.right:+d}",
    "heading": lambda value: f"heading {math.degrees(value.angle):+.1f} deg",
    "range": lambda value: "range no echo" if value.distance is None else f"range {value.distance:.2f} m",
    "battery": lambda value: f"battery {value.volts:.1f} V",
}
"""How the readings of a family are shown."""


def _standing(state: State | None, is_running: bool, now_ns: int) -> str:
    if state is None or now_ns - state.now_ns > SILENT_NS:
        return "GUARD SILENT"
    if is_running:
        return "running"
    if state.phase in (Phase.READY, Phase.HELD):
        return f"{'reset' if state.phase is Phase.READY else 'held'}; g permits motion"
    return f"STOPPED: {state.cause or state.note}"


@contextmanager
def keys_at_once(descriptor: int) -> Iterator[None]:
    """Have a terminal give each key as it is pressed, and show none; afterwards it is as before.

    Signals by key stay as they are: Ctrl-C ends the program, and the wheels with it.
    """
    before = termios.tcgetattr(descriptor)
    tty.setcbreak(descriptor)
    try:
        yield
    finally:
        with contextlib.suppress(OSError, termios.error):
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def cropped(line: str) -> str:
    """Return a line that fits the terminal's width."""
    return line[: shutil.get_terminal_size().columns - 1]
