"""What the ledger has entries of, as plain values."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.estimate.ellipse import CHI_SQUARE_2_95
from rover.estimate.field import Slot
from rover.geometry import XY, Pose, distance_to_segment

NUDGE = 0.15
"""What slips out of the jaws, or is let go of, may be pushed by so much (m) before it is gripped again."""
SIGMAS_95 = math.sqrt(CHI_SQUARE_2_95)
"""Of a place in the plane, 95 % lie within so many standard deviations."""
PUSHED = 1.0
"""What lies before the jaws may be pushed so far (m) on from where it was lost before the robot turns away from it."""
HARDLY = 0.3
"""What is let go of this near (m) to where it was found has hardly been brought away."""


class Grip(NamedTuple):
    """What the jaws last closed on, and where (m, field frame), with the covariance of that (m^2)."""

    kind: str
    x: float
    y: float
    xx: float
    xy: float
    yy: float


class Filled(NamedTuple):
    """A slot of the tray in which an object of a kind was set down."""

    slot: Slot
    kind: str


class Standing(NamedTuple):
    """An object that stands in the tray: its kind and place (m)."""

    kind: str
    x: float
    y: float


class PutOff(NamedTuple):
    """An object left for later: its kind and place (m)."""

    kind: str
    x: float
    y: float


class LetGo(NamedTuple):
    """The object of a find that was lost on its way: where it was found, and between which places (m) it lies now.

    Attributes:
        story: number of its story, 0 where stories have other numbers by now.
        known_of: how many objects were known of when it was lost: those with greater numbers were seen later.
    """

    number: int
    find: Grip
    held_at: XY
    missed_at: XY
    story: int = 0
    known_of: int = 0

    def may_be(self, grip: Grip) -> bool:
        """Tell whether what the jaws closed on may be this object: the two ellipses overlap, give or take a nudge.

        One that seems to be of another kind has to lie nearer: kinds are mistaken, and seldom two stand in one place.
        """
        spread = math.hypot(_sigma(grip), _sigma(self.find), NUDGE)
        apart = distance_to_segment((grip.x, grip.y), self.held_at, self.missed_at)
        return apart <= (SIGMAS_95 if grip.kind == self.find.kind else 1.0) * spread

    def is_told_of(self, grip: Grip, story: int) -> bool:
        """Tell whether what the jaws closed on is this object by its story: it has the same, or one that began later
        and not far from the way on which it was carried, or believed to be."""
        if not self.story or grip.kind != self.find.kind:
            return False
        place, found_at = (grip.x, grip.y), (self.find.x, self.find.y)
        ways = ((found_at, self.held_at), (self.held_at, self.missed_at))
        is_near = any(distance_to_segment(place, *way) <= PUSHED for way in ways)
        return story == self.story or (story > self.known_of and is_near)

    @property
    def is_where_found(self) -> bool:
        """It was let go of where it had been found, and hardly brought away."""
        return math.dist(self.missed_at, (self.find.x, self.find.y)) <= HARDLY


class Counted(NamedTuple):
    """A find that was left in the tray: in which slot, and by what that is known."""

    find: LetGo
    filled: Filled
    known_by: str


def stood_at(grip: Grip, tried: Sequence[Pose]) -> list[Grip]:
    """Return where what the jaws closed on may have stood, the last first: each try in vain may have pushed it on."""
    places = [grip]
    for one in reversed(tried):
        if math.dist((one.x, one.y), (places[-1].x, places[-1].y)) < NUDGE:
            places.append(grip._replace(x=one.x, y=one.y))
    return places


class SettingDown(NamedTuple):
    """An object on which the jaws have been opened in the tray: let go of at (x, y) in m, as far as is known."""

    kind: str
    slot: Slot
    x: float
    y: float
    chance: float


class Met(NamedTuple):
    """Something unknown that stood in the way at a place (m), touched or only heard, and until when it is avoided.

    Attributes:
        guess_at: the number of the touch of which it is one guess among others; 0: there is no other.
    """

    x: float
    y: float
    is_touched: bool
    until_ns: int
    guess_at: int = 0


class Account(NamedTuple):
    """What the ledger says of an errand.

    Attributes:
        counted: objects left in the tray, and seen there or felt to have left the jaws.
        seen: of these, the ones that were seen there.
        believed: objects set down in the tray on which nothing could tell.
        left: objects that are neither; None where there is no tray to bring them to.
        unseen: share of the field in which more may stand, since it could not be looked at.
    """

    counted: int
    seen: int
    believed: int
    left: int | None
    unseen: float = 0.0


def _sigma(grip: Grip) -> float:
    return math.sqrt(max(grip.xx, grip.yy))
