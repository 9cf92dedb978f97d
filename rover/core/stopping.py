"""Whether behaviour and wheels go on, as the core sees it: the latch of `rover.stopping`, its changes noted as events.

This is software on a hobby-size machine, not a certified safety function.
"""

from rover.events import Event, Note, Stop
from rover.stopping import Act, Latch, Phase

DONE = {
    (Phase.HELD, Phase.RUNNING): "hold ended",
    (Phase.HELD, Phase.STOPPED): "hold ended by a stop",
    (Phase.STOPPED, Phase.RESETTING): "reset begun",
    (Phase.RESETTING, Phase.READY): "reset",
    (Phase.RESETTING, Phase.STOPPED): "stopped again before the reset was over",
    (Phase.READY, Phase.RUNNING): "motion resumed",
    (Phase.NOT_ENABLED, Phase.RUNNING): "motion enabled",
}
"""What is noted of a change of phase, besides stops and holds."""


class Stopping(Latch):
    """The core's latch: it runs from the beginning, and a host that may not move yet says so.

    Args:
        events: of the present step; what keeps the robot from moving is noted there as it begins.

    Attributes:
        is_resumed: motion is permitted again, and the behaviour has not yet gone on.
    """

    def __init__(self, events: list[Event]) -> None:
        super().__init__(Phase.RUNNING)
        self.is_resumed = False
        self._events = events

    def act(self, act: Act, cause: str = "", control: object = None) -> str:
        """Take an act, and note what becomes of it."""
        before = self.phase
        why_not = super().act(act, cause, control)
        if self.phase is not before:
            self.is_resumed = self.phase is Phase.RUNNING
            self._note(before)
        return why_not

    def _note(self, before: Phase) -> None:
        if self.phase is Phase.HELD:
            self._events.append(Note("operator", f"held: {self.cause}" if self.cause else "held"))
        elif said := DONE.get((before, self.phase)):
            self._events.append(Note("operator", said))
        if self.phase in (Phase.NOT_ENABLED, Phase.STOPPED) and before is not Phase.RESETTING:
            self._events.append(Stop(self.cause))

    def stop(self, cause: str) -> None:
        """Latch a stop."""
        self.act(Act.STOP, cause)
