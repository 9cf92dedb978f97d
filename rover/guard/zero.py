"""Zero for wheels and jaws whose guard is dead or hangs: on PWM channels, and on the line that it has handed over.

It needs nothing of the guard's process: PWM files are opened anew, and the line's descriptor is one of the
supervisor's own, for the same opening of the port. So the port stays open when the guard dies (its lines do not
change, and the kernel waits for nothing), and what the guard had put into the kernel's queue can be thrown away.
"""

import contextlib
import fcntl
import os
import secrets
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

from rover.devices.kernel.pwm import silence
from rover.guard.composer import LEAD_MS, ZERO_LASTS_NS, CommandComposer
from rover.guard.device_time import DeviceTime
from rover.guard.settings import GuardSettings, pulse_after_stop
from rover.link.sentences import U16

REPEAT_NS = 50_000_000
"""A zero may be damaged on the line: it is said again until the next guard holds the line."""
_TRIES, _PAUSE_S = 5, 0.002


class Zero:
    """What brings the wheels to zero in the guard's place. One thread; nothing raises, and a write waits 10 ms at most.

    Args:
        settings: the guard's.
        session: the guard's number in the sentences.
        now_ns: the clock.
    """

    def __init__(self, settings: GuardSettings, session: int, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._settings, self._now_ns = settings, now_ns
        self._composer = CommandComposer(session, DeviceTime(), LEAD_MS)
        self._line: int | None = None
        self._is_repeated = False
        self._repeated_ns = 0

    @property
    def line(self) -> int | None:
        """The descriptor of the serial line, while there is one; to be polled for a hang-up."""
        return self._line

    def hold(self, line: int) -> None:
        """Keep a descriptor of the line that the guard has just opened; from now on the guard writes there."""
        self.let_go()
        self._line, self._is_repeated = line, False

    def let_go(self) -> None:
        """Close the line: one that was unplugged gets its name back only when nobody holds it any more."""
        line, self._line = self._line, None
        if line is not None:
            with contextlib.suppress(OSError):
                os.close(line)

    def take_over(self) -> None:
        """Be the one who writes, after the guard's end: repeat zero, and let the next guard lock the port."""
        self._is_repeated = True
        if self._line is not None:
            with contextlib.suppress(OSError):
                fcntl.flock(self._line, fcntl.LOCK_UN)

    def write(self) -> None:
        """Bring the wheels to zero, ahead of all that waits in the kernel's queue; jaws do what ``on_stop`` says.

        Those that hold go limp, since nobody is left who would end their push; the gears hold on.
        """
        write_to_channels(self._settings)
        if self._line is not None:
            with contextlib.suppress(OSError, termios.error):
                termios.tcflush(self._line, termios.TCOFLUSH)
            self._say_zero()
        self._stop_jaws()

    def end(self) -> None:
        """Let go of everything when no other guard will follow; jaws on pins go limp: nobody would end their push."""
        self.let_go()
        write_to_channels(self._settings)

    def repeat(self) -> None:
        """Say zero again on the line, if that is due and no guard does."""
        if self._is_repeated and self._line is not None and self._now_ns() - self._repeated_ns >= REPEAT_NS:
            self._say_zero()

    def _stop_jaws(self) -> None:
        servo = self._settings.servo
        if servo is not None and self._settings.servo_on_pins is None:
            now_ns = self._now_ns()
            self._say(self._composer.servo(pulse_after_stop(servo) or 0, now_ns, now_ns + ZERO_LASTS_NS))

    def _say_zero(self) -> None:
        self._repeated_ns = self._now_ns()
        self._say(self._composer.zero(self._repeated_ns))

    def _say(self, sentence: bytes | None) -> None:
        unsent = sentence or b""
        for _ in range(_TRIES):
            try:
                while unsent and self._line is not None:
                    unsent = unsent[os.write(self._line, unsent) :]
                return
            except BlockingIOError:
                time.sleep(_PAUSE_S)
            except OSError:
                self.let_go()


def write_once(settings: GuardSettings) -> None:
    """Bring the wheels to zero from any process, past guard and supervisor: for when neither says a word any more.

    The line is opened beside whoever holds it; zero is obeyed from any session.
    """
    zero = Zero(settings, secrets.randbelow(U16) + 1)
    if settings.is_serial:
        with contextlib.suppress(OSError):
            zero.hold(os.open(str(settings.drive["port"]), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC))
    zero.write()
    zero.let_go()


def write_to_channels(settings: GuardSettings) -> None:
    """Bring every PWM channel of wheels and jaws to zero, whoever holds it; one that fails keeps no other from it."""
    for channel in settings.channels:
        _write_zero(*channel)


def _write_zero(root: str, chip: int, channel: int) -> None:
    try:
        silence(chip, channel, Path(root))
    except OSError as error:
        print(f"PWM channel {channel} of chip {chip}: cannot be brought to zero ({error})", file=sys.stderr)
