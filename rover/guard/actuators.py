"""Wheels and jaws by the guard's rules: what is commanded in time goes to the output, and zero when nothing is.

The same in the guard's own process and in a wired rehearsal, which writes to its line through this (`in_process`).
"""

from rover.guard.output import ZERO, Output
from rover.guard.permission import CommandGate, Permission
from rover.guard.protocol import Command, Ruling
from rover.guard.settings import GuardSettings, pulse_after_stop
from rover.stopping import JawsRule

TICK_NS = 20_000_000
COMMANDED_TICK_NS = 25_000_000
"""While commands come, at 50 a second: a turn of its own just before the next one would be a turn for nothing."""
PENDING_NS = 4_000_000
REPEAT_ZERO_NS = 50_000_000
REPEAT_JAWS_NS = 1_000_000_000


class Actuators:
    """Obeys one command at a time, and keeps wheels and jaws as they have to be between them. One thread.

    Attributes:
        applied: the duties that the wheels have been given.
        ran_out: no valid command came within the deadline, so the wheels stand still.
    """

    def __init__(self, settings: GuardSettings, output: Output, permission: Permission) -> None:
        self.applied = ZERO
        self.ran_out = True
        self._settings, self._output, self._permission = settings, output, permission
        self._gate = CommandGate(settings.deadline_ns)
        self._zeroed_ns = 0
        self._pulse_us: int | None = None
        self._pushes_from_ns = 0
        self._repeated_ns = 0
        self._are_jaws_stopped = False

    def patience_ns(self, now_ns: int) -> int:
        """Return how long whoever calls `keep` may wait for something to come in."""
        if self._output.is_pending():
            return PENDING_NS
        return TICK_NS if self.ran_out else max(0, min(COMMANDED_TICK_NS, self._gate.until_ns - now_ns))

    def obey(self, command: Command, now_ns: int) -> Ruling:
        """Carry a command out, or refuse it; return which."""
        if self._output.fault:
            return Ruling.NO_OUTPUT
        ruling = self._gate.judge(command, self._permission, now_ns)
        if ruling is not Ruling.ACCEPTED:
            return ruling
        self.ran_out = False
        self.applied = self._output.drive(command.left, command.right, self._gate.until_ns)
        if command.pulse_us is not None:
            self._set_jaws(command.pulse_us, command.expires_ns, now_ns)
        return ruling

    def keep(self, now_ns: int) -> None:
        """Do what is due though nobody commands it; to be called at least as often as `patience_ns` says."""
        self._keep_zero(now_ns)
        self._keep_jaws(now_ns)

    def _keep_zero(self, now_ns: int) -> None:
        """Bring the wheels to zero when nothing permits them to turn, and say so again and again."""
        is_permitted = self._permission.effect.moves and not self._output.fault
        if is_permitted and now_ns < self._gate.until_ns:
            return
        if not self.ran_out or now_ns - self._zeroed_ns >= REPEAT_ZERO_NS:
            self._gate.until_ns = 0
            self.ran_out, self._zeroed_ns, self.applied = True, now_ns, ZERO
            self._output.zero()

    def _keep_jaws(self, now_ns: int) -> None:
        """After a stop, do with the jaws what ``on_stop`` says; let them push no longer than allowed, unless commanded.

        The time counts from when they began, so that a runtime that dies in the middle of a push does not prolong it.
        """
        jaws = self._permission.effect.jaws
        is_stopped = jaws is JawsRule.REST
        has_just_stopped, self._are_jaws_stopped = is_stopped and not self._are_jaws_stopped, is_stopped
        pulse_us, servo = self._pulse_us, self._settings.servo
        if pulse_us is None or servo is None:
            return
        if has_just_stopped:
            wanted_us = pulse_after_stop(servo)
            self._repeat_jaws(pulse_us if wanted_us is None else wanted_us, now_ns)
        elif pulse_us and self.ran_out and now_ns - self._pushes_from_ns >= round(servo["push_for"] * 1e9):
            self._repeat_jaws(0, now_ns)
        elif jaws is not JawsRule.OBEY and now_ns - self._repeated_ns >= REPEAT_JAWS_NS:
            self._repeat_jaws(pulse_us, now_ns)

    def end(self, now_ns: int) -> None:
        """Leave jaws that were commanded as ``on_stop`` says; those that hold go limp: nobody would end their push."""
        servo = self._settings.servo
        if self._pulse_us is not None and servo is not None:
            self._output.servo(pulse_after_stop(servo) or 0, now_ns + self._settings.deadline_ns)

    def _repeat_jaws(self, pulse_us: int, now_ns: int) -> None:
        self._repeated_ns = now_ns
        self._set_jaws(pulse_us, now_ns + self._settings.deadline_ns, now_ns)

    def _set_jaws(self, pulse_us: int, until_ns: int, now_ns: int) -> None:
        if pulse_us != self._pulse_us:
            self._pulse_us, self._pushes_from_ns = pulse_us, now_ns
        self._output.servo(pulse_us, until_ns)
