"""Whose commands count, and until when: pure rules, time passed in. Whether any may count is `rover.stopping`'s."""

import math

from rover.guard.protocol import NOBODY, Command, Ruling
from rover.stopping import Act, Latch, Phase

POWER_UP = "power-up: motion has not been enabled"
CLOCK_SLACK_NS = 2_000_000
SHORTEST_PULSE_US, LONGEST_PULSE_US = 500, 2500


class Permission(Latch):
    """The guard's latch, and the one session whose commands count while it runs.

    Attributes:
        permit_holder: the session that enabled motion; `NOBODY`: none.
    """

    def __init__(self) -> None:
        super().__init__(Phase.NOT_ENABLED, POWER_UP)
        self.permit_holder = NOBODY

    def stop(self, cause: str) -> None:
        """Latch a stop."""
        self.act(Act.STOP, cause)

    def lapse(self, cause: str) -> None:
        """Take the permission from a permit holder that is gone: motion has to be enabled anew, by whoever comes."""
        self.permit_holder = NOBODY
        self.act(Act.LAPSE, cause)

    def resume(self) -> str:
        """Permit motion again after a reset or a hold; return why not, or ''."""
        if self.phase is Phase.READY and self.permit_holder == NOBODY:
            return "nobody has enabled motion"
        return self.act(Act.RESUME)

    def enable(self, session: int) -> str:
        """Let a session command; starts after power-up, but clears no stop, nor its reset. Return why not, or ''."""
        if self.permit_holder not in (NOBODY, session):
            return "another program commands the robot"
        self.permit_holder = session
        return self.act(Act.ENABLE)


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
        if not permission.effect.moves:
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
