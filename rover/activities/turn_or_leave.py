"""Turning on the spot where something unknown may stand: jammed, the robot learns of it, and turns back."""

from rover.activities.activity import Knowledge
from rover.activities.driving import HELD, why_give_up
from rover.activities.getting_free import GettingFree, Piece, pieces_from
from rover.activities.meeting import Meeting
from rover.activities.turning import TurnTowards
from rover.motion.request import STILL, Request


class TurnOrLeave:
    """A turn on the spot to a heading, given up where it is jammed; the part of other activities that turns so.

    Attributes:
        why: why it was given up, '' where it was not.
    """

    def __init__(self, heading: float, most: float) -> None:
        self.why = ""
        self._turn = TurnTowards(heading, most)
        self._free: GettingFree | None = None

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, None at the end."""
        if self._free is not None:
            return self._free.request(known)
        request = self._turn.request(known)
        if request is None:
            return None
        self.why = why_give_up(known, HELD)
        if known.is_stalled:
            Meeting().turn(known, self._turn.to_go)
            self._free = GettingFree(known, pieces_from(known, Piece(angle=self._turn.to_go)))
            return STILL
        return None if self.why else request
