"""What the motor guard says of itself, turned into readings and actions. Pure; it is the guard's word that counts."""

from collections.abc import Sequence

from rover.core import Action
from rover.devices.readings import Reading
from rover.guard.protocol import Phase, State

SILENT_NS = 600_000_000
"""The guard speaks ten times a second; restarted after a death it is back within half a second."""
SILENT = "the motor guard does not answer; look at its log"
OTHER = "another program commands the robot"


class GuardWatch:
    """Follows the guard's phase for one session.

    Attributes:
        phase: whether motion is permitted to this session, as last told to the core.
    """

    def __init__(self, session: int) -> None:
        self.phase = Phase.STOPPED
        self._session = session
        self._heard_ns = self._heard = 0

    def readings(self, state: State | None) -> Sequence[tuple[str, Reading]]:
        """Return the guard's state as a reading, if it is new: the core passes over it, the record keeps it."""
        if state is None or state.now_ns == self._heard_ns:
            return ()
        self._heard_ns, self._heard = state.now_ns, self._heard + 1
        return [("guard", Reading(state.now_ns, self._heard, state))]

    def actions(self, state: State | None, now_ns: int) -> Sequence[Action]:
        """Return what the core has to be told: a stop, a reset, a resume; nothing while nothing changed."""
        phase, cause = self._judge(state, now_ns)
        before, self.phase = self.phase, phase
        if phase is before:
            return ()
        match phase:
            case Phase.STOPPED:
                return (Action("stop", cause),)
            case Phase.READY:
                return (Action("reset"),)
        return (Action("resume"),) if before is Phase.READY else (Action("reset"), Action("resume"))

    def _judge(self, state: State | None, now_ns: int) -> tuple[Phase, str]:
        if state is None or now_ns - state.now_ns > SILENT_NS:
            return Phase.STOPPED, SILENT
        if state.phase is Phase.RUNNING and state.permit_holder != self._session:
            return Phase.STOPPED, OTHER
        return state.phase, state.cause
