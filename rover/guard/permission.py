"""Whether motion is permitted, and which commands count: pure rules, time passed in.

The terms are those of the standards, in their sense but without their certification: a *stop* latches until a
*reset*, which only permits a later, separate *resume* and never starts motion (ISO 13850:2015; ISO 13849-1:2015,
5.2.2); a reset counts on the *release* of its control, so that a jammed one cannot reset (ISO 13849-1); after power-up
or a reconnection nothing moves without a deliberate start (ISO 3691-4:2020, 4.1.14).
"""

import math
from collections.abc import Hashable

from rover.guard.protocol import NOBODY, Command, Phase, Ruling

POWER_UP = "power-up: motion has not been enabled"
CLOCK_SLACK_NS = 2_000_000
SHORTEST_PULSE_US, LONGEST_PULSE_US = 500, 2500


class Permission:
    """The latch: motion is permitted while the phase is `RUNNING`, for the commands of one session.

    Attributes:
        phase: stopped, reset, or running.
        cause: why it is stopped; kept after the reset, empty while running.
        permit_holder: the session that enabled motion; `NOBODY`: none.
        demanded: it is stopped because a person, the stop input or a fault demanded it, and has not been reset.
    """

    def __init__(self) -> None:
        self.phase = Phase.STOPPED
        self.cause = POWER_UP
        self.permit_holder = NOBODY
        self.demanded = False
        self._pressed_by: Hashable = None

    def stop(self, cause: str) -> None:
        """Latch a stop; the first cause is kept. A reset that is under way is void."""
        if self.phase is not Phase.STOPPED or not self.demanded:
            self.cause = cause
        self.phase, self.demanded, self._pressed_by = Phase.STOPPED, True, None

    def lapse(self, cause: str) -> None:
        """Take the permission from a permit holder that is gone: motion has to be enabled anew, by whoever comes."""
        self.permit_holder = NOBODY
        if self.phase is Phase.RUNNING:
            self.phase, self.cause = Phase.STOPPED, cause

    def press_reset(self, control: Hashable) -> None:
        """Note that the reset control is pressed, which alone does nothing."""
        if self.phase is Phase.STOPPED and self.demanded:
            self._pressed_by = control

    def release_reset(self, control: Hashable) -> str:
        """Reset, if this control was pressed since the stop; return why not, or ''. Never starts motion."""
        if self.phase is not Phase.STOPPED or not self.demanded:
            return "there is no stop to reset"
        if self._pressed_by is None or self._pressed_by != control:
            return "a reset counts when its control is released after having been pressed since the stop"
        self.phase, self.demanded, self._pressed_by = Phase.READY, False, None
        return ""

    def resume(self) -> str:
        """Permit motion again after a reset; return why not, or ''."""
        if self.phase is not Phase.READY:
            return "" if self.phase is Phase.RUNNING else "a stop has to be reset before motion can resume"
        if self.permit_holder == NOBODY:
            return "nobody has enabled motion"
        self._start()
        return ""

    def enable(self, session: int) -> None:
        """Let a session command; starts after power-up, but clears no stop that was demanded, nor its reset."""
        self.permit_holder = session
        if self.phase is Phase.STOPPED and not self.demanded:
            self._start()

    def _start(self) -> None:
        self.phase, self.cause = Phase.RUNNING, ""


class CommandGate:
    """Tells which commands count, and until when.

    Attributes:
        until_ns: the wheels have to be at zero from then on; no later command of the same time renews it.
    """

    def __init__(self, deadline_ns: int) -> None:
        self.until_ns = 0
        self._deadline_ns = deadline_ns
        self._session, self._sequence = NOBODY, -1

    def judge(self, command: Command, permission: Permission, now_ns: int) -> Ruling:
        """Return what becomes of a command; one that is accepted sets `until_ns`."""
        verdict = self._why_not(command, permission, now_ns)
        if verdict is Ruling.ACCEPTED:
            self._session, self._sequence = command.session, command.sequence
            # Counted from the stamp: what waited in a queue has used up its time there.
            self.until_ns = min(command.expires_ns, command.stamp_ns + self._deadline_ns)
        return verdict

    def _why_not(self, command: Command, permission: Permission, now_ns: int) -> Ruling:
        if not _is_in_range(command):
            return Ruling.INVALID
        if permission.phase is not Phase.RUNNING:
            return Ruling.STOPPED
        if command.session != permission.permit_holder:
            return Ruling.NOT_ENABLED
        if command.session == self._session and command.sequence <= self._sequence:
            return Ruling.OLD
        return self._untimely(command, now_ns)

    def _untimely(self, command: Command, now_ns: int) -> Ruling:
        if command.stamp_ns > now_ns + CLOCK_SLACK_NS:
            return Ruling.FUTURE
        if now_ns >= command.expires_ns:
            return Ruling.EXPIRED
        return Ruling.STALE if now_ns - command.stamp_ns >= self._deadline_ns else Ruling.ACCEPTED


def _is_in_range(command: Command) -> bool:
    duties = (command.left, command.right)
    if not all(math.isfinite(duty) and abs(duty) <= 1.0 for duty in duties):
        return False
    return command.pulse_us in (None, 0) or SHORTEST_PULSE_US <= (command.pulse_us or 0) <= LONGEST_PULSE_US
