"""What the motor guard says of itself, turned into readings and actions. Pure; it is the guard's word that counts."""

from collections.abc import Iterable, Sequence

from rover.core import Action
from rover.devices.readings import Reading
from rover.guard.protocol import State
from rover.stopping import EFFECTS, LATCHED, Phase

SILENT_NS = 600_000_000
"""The guard speaks ten times a second; restarted after a death it is back within half a second."""
GONE_NS = 5_000_000_000
"""A guard that is started again is back long before; without one a run is over."""
SILENT = "the motor guard does not answer; look at its log"
OTHER = "another program commands the robot"


class GuardWatch:
    """Follows the guard's phase for one session.

    Attributes:
        phase: as last told to the core.
    """

    def __init__(self, session: int) -> None:
        self.phase = Phase.NOT_ENABLED
        self._session = session
        self._heard_ns = self._readings = 0

    def readings(self, states: Iterable[State]) -> Sequence[tuple[str, Reading]]:
        """Return what the guard said as readings: the core passes over them, the record keeps them."""
        made = [Reading(state.now_ns, self._readings + n, state) for n, state in enumerate(states, 1)]
        self._readings += len(made)
        return [("guard", reading) for reading in made]

    def actions(self, states: Iterable[State], now_ns: int) -> Sequence[Action]:
        """Return what the core has to be told of the guard's new words, oldest first, or of its silence."""
        actions: list[Action] = []
        for state in states:
            # When it was heard, not when it was said: what waited while this program started is no silence.
            self._heard_ns = now_ns
            actions += self._follow(*self._mine(state))
        if self.phase in (Phase.RUNNING, Phase.HELD) and now_ns - self._heard_ns > SILENT_NS:
            actions += self._follow(Phase.STOPPED, SILENT)
        return actions

    def _mine(self, state: State) -> tuple[Phase, str]:
        """Return the phase as it is for this session: what another one may do is not permitted to this one."""
        is_others = state.phase in (Phase.RUNNING, Phase.HELD) and state.permit_holder != self._session
        return (Phase.NOT_ENABLED, OTHER) if is_others else (state.phase, state.cause)

    def _follow(self, phase: Phase, cause: str) -> Sequence[Action]:
        before, self.phase = self.phase, phase
        if phase is before:
            return ()
        match phase:
            case Phase.NOT_ENABLED:
                return (Action("lapse", cause),)
            case Phase.STOPPED:
                return (Action("stop", cause),)
            case Phase.READY if before is Phase.NOT_ENABLED:
                return ()
            case Phase.READY:
                return (Action("reset"),) if before in LATCHED else (Action("stop", cause),)
            case Phase.HELD if before is Phase.RUNNING:
                return (Action("hold", cause),)
            case Phase.RESETTING:
                return ()
        # From a latched stop no way leads to motion: what cannot be followed step by step stays stopped here.
        way = () if before is Phase.STOPPED else ("reset",) * (before is Phase.RESETTING) + ("enable", "resume")
        return [*map(Action, way), *([Action("hold", cause)] if phase is Phase.HELD else [])]

    def is_gone(self, now_ns: int) -> bool:
        """Tell whether the guard has been silent for so long that nobody starts it again."""
        return self._heard_ns > 0 and now_ns - self._heard_ns > GONE_NS

    @property
    def moves(self) -> bool:
        """The guard lets this session move."""
        return EFFECTS[self.phase].moves
