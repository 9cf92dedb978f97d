"""Jog: driving by hand, hold-to-run: with the keys of a terminal, or at the operator page.

A word moves the robot for `WORD_LASTS_NS` at most. That expiry goes with every command to the motor guard, which
enforces it, and nobody renews it. A key that is held makes a short move, then a steady one, as the terminal's
repetition sets in. One at a time drives; who is at the terminal, beside the robot, comes first.
"""

import contextlib
import os
import select
import termios
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

from rover.events import HoldBack, Note
from rover.files.robot import Robot
from rover.motion.carriage import Carriage
from rover.motion.request import Request
from rover.session.by_hand import PERIOD_NS, ManualSession, TimedReading
from rover.session.jog_keys import WORD_LASTS_NS, HoldToRun, Key, keys_in
from rover.session.jog_line import HEAD, STANDING, standing, status
from rover.session.terminal import STALE_NS
from rover.session.watched import ByHandPage, NoByHandPage, Push

ShowLine = Callable[[str, bool], None]
SHOW_EVERY_NS = 100_000_000
PUSH_LASTS_NS = 300_000_000
"""So long after the time that a person at the page had last been told, a word of theirs moves nothing any more."""
AT_TERMINAL = 0
"""Viewers of the page are numbered from 1 on."""
STAYS_DRIVER_NS = 1_000_000_000
"""So long after the last word nobody else takes the wheel."""


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


class Wheel:
    """Who drives: one at a time, and who is at the terminal at once. Pure.

    Attributes:
        driver: number of the one who drives; `AT_TERMINAL`, or a viewer's of the page.
        whose: what the last one at the page is called.
    """

    def __init__(self) -> None:
        self.driver = AT_TERMINAL
        self.whose = ""
        self._until_ns = 0

    def is_taken(self, now_ns: int) -> bool:
        """Tell whether somebody drives, or has only just let go."""
        return now_ns < self._until_ns

    def takes(self, who: int, now_ns: int) -> bool:
        """Tell whether one who has a word to say drives now."""
        if who not in (AT_TERMINAL, self.driver) and self.is_taken(now_ns):
            return False
        self.driver, self._until_ns = who, now_ns + STAYS_DRIVER_NS
        return True


class Display:
    """The line at the terminal, and what the page shows beside."""

    def __init__(self, session: ManualSession, show: ShowLine, page: ByHandPage) -> None:
        self._session, self._show, self._page = session, show, page
        self._shown_ns = 0
        self._standing = ""
        show(HEAD, True)

    def show(self, now_ns: int, share: float, causes: tuple[str, ...], driver: str) -> None:
        """Show how things stand, ten times a second: share of the speed, hold-backs, who drives at the page."""
        if now_ns - self._shown_ns < SHOW_EVERY_NS:
            return
        self._shown_ns = now_ns
        stands = standing(self._session, causes, now_ns)
        if stands != self._standing and len(stands) > STANDING:
            self._show(stands, True)  # the line has no room for all of it
        self._standing = stands
        self._show(status(self._session, share, causes, now_ns), False)
        self._page.tell(speed=share, held_back=list(causes), driver=driver)


class Onlooker(Protocol):
    """Looks on while somebody jogs, such as a survey."""

    def heard(self, readings: list[TimedReading]) -> None:
        """Take in what devices reported."""

    def typed(self, keys: bytes) -> None:
        """Take in what a terminal sent; it drives as well."""


class Jog:
    """Jogging with a robot at hand.

    Args:
        session: guard, drivers and record.
        descriptor: the terminal, which gives keys as they are pressed; None: there is none.
        show: shows a line in place of the last one; with True it stays, and the next is below it.
        page: at which others may drive.
        onlooker: hears what devices report and what is typed, besides.
    """

    def __init__(
        self,
        session: ManualSession,
        descriptor: int | None,
        show: ShowLine,
        page: ByHandPage | None = None,
        onlooker: Onlooker | None = None,
    ) -> None:
        self._onlooker = onlooker
        self._session, self._descriptors = session, [] if descriptor is None else [descriptor]
        self._page = page or NoByHandPage()
        self._display = Display(session, show, self._page)
        self._held, self._steering, self._wheel = HoldToRun(), Steering(session.robot), Wheel()
        self._typed = b""
        self._turn_ns = session.now_ns
        self._stop_is_due = self._is_moving = self._ended = False
        self._noted: Key | None = None
        self._causes: tuple[str, ...] = ()

    def run(self) -> None:
        """Drive until the person ends it."""
        while not self._ended:
            heard = self._session.poll()
            self._steering.hear(heard)
            if self._onlooker is not None:
                self._onlooker.heard(heard)
            self._listen()
            self._drive(self._session.now_ns)
            self._tell(self._session.now_ns)
        self._display.show(self._session.now_ns + SHOW_EVERY_NS, self._held.share, self._causes, "")

    def _listen(self) -> None:
        """Wait 20 ms for keys at most, and take them; what comes after a standstill is not a word of now."""
        ready = select.select(self._descriptors, [], [], PERIOD_NS / 1e9)[0]
        now_ns = self._session.now_ns
        is_stale, self._turn_ns = now_ns - self._turn_ns > STALE_NS, now_ns
        for push in self._page.pushes():
            if not is_stale:
                self._take_push(push, now_ns)
        for descriptor in ready:
            typed = os.read(descriptor, 1024)
            if self._onlooker is not None:
                self._onlooker.typed(typed)
            keys, self._typed = keys_in(self._typed + typed)
            for key in keys if typed else [Key.QUIT]:
                if not is_stale or key in (Key.STOP, Key.QUIT):
                    self._wheel.takes(AT_TERMINAL, now_ns)
                    self._take(key, now_ns)

    def _take_push(self, push: Push, now_ns: int) -> None:
        """Take a word of somebody at the page, if it is of now and this one drives."""
        lasts_ns = push.stamp_ns + PUSH_LASTS_NS - now_ns
        if not push.way:
            if push.viewer == self._wheel.driver:
                self._take(Key.OTHER, now_ns)
        elif 0 < lasts_ns <= PUSH_LASTS_NS and self._wheel.takes(push.viewer, now_ns):
            self._wheel.whose = push.whose
            self._take(Key(push.way), now_ns, lasts_ns)

    def _take(self, key: Key, now_ns: int, lasts_ns: int = WORD_LASTS_NS) -> None:
        self._held.press(key, now_ns, lasts_ns)
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
        driver = self._wheel.whose if self._wheel.driver != AT_TERMINAL and self._wheel.is_taken(now_ns) else ""
        self._display.show(now_ns, self._held.share, self._causes, driver)


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
