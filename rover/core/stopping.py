"""Whether behaviour and wheels go on: the latched stop with the two acts that end it, and the operator's hold.

A stop needs a reset, and then a separate resume; a reset never starts motion. The words are those of ISO 13850 (reset)
and IEC 60204-1 (stop). This is software on a hobby-size machine, not a certified safety function.
"""

from rover.events import Event, Stop


class Stopping:
    """The latched stop, and the operator's hold.

    Args:
        events: of the present step; a stop that latches is noted there.

    Attributes:
        cause: why the stop stands, None while there is none.
        is_reset: the stop may be ended by a resume.
        on_hold: the operator holds the robot where it is.
        is_resumed: stop or hold have ended, and the behaviour has not yet gone on.
    """

    def __init__(self, events: list[Event]) -> None:
        self.cause: str | None = None
        self.is_reset = self.on_hold = self.is_resumed = False
        self._events = events

    @property
    def stopped(self) -> bool:
        """Motion is stopped, waiting for reset and resume."""
        return self.cause is not None

    def stop(self, cause: str) -> None:
        """Latch; a stop that stands keeps its cause, and has to be reset again."""
        self.is_reset = False
        if self.cause is None:
            self.cause = cause
            self._events.append(Stop(cause))

    def reset(self) -> None:
        """Allow a resume; this alone moves nothing."""
        self.is_reset = self.stopped

    def hold(self) -> None:
        """Hold until resumed."""
        self.on_hold = True

    def resume(self) -> None:
        """Go on: after a stop only if it has been reset."""
        if self.is_reset:
            self.cause, self.is_reset = None, False
        elif self.stopped or not self.on_hold:
            return
        self.on_hold, self.is_resumed = False, True
