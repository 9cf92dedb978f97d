"""What of the ground has been looked at, what is still to be, and from where it can be seen."""

import math
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from rover.estimate.field import Ground
from rover.geometry import XY, cross, distance_to_segment
from rover.quantities import wrap

SIDE = 0.25
"""Side (m) of the squares in which looked-at ground is counted..."""
MOST_SQUARES = 4000
"""... larger on a field that would have more than so many of them: from 250 m^2 on."""
OFF_WALLS = 0.05
"""A square whose middle is nearer (m) to an edge or a wall is no ground that an object could stand on."""
LOOKS = 2
FEW = 4
"""A lookout from which no more squares than this are to be seen is not worth the way: a few lie behind things."""
SPACING = 0.6
"""Lookouts are so far (m) from each other, or a little more..."""
MOST_LOOKOUTS = 400
"""... and farther on a field that would have more than so many: from 144 m^2 on."""
EASY = 0.08
"""Where that leaves no square unseen, a lookout has so much more room (m) than it needs."""
MOST_VISITS = 3
"""So often a lookout is gone to while nothing is found: what was not seen from it then never will be."""
MOST_FAILURES = 2
"""A lookout that could not be reached so often is left out, and has one more chance after each find..."""
FAILED = 0.1
"""... and before, others come first that are worth more than this share of it."""
AGAIN_WITHIN = 0.4
"""Where an object is no more seen, the ground so far (m) about it is looked at again: it was moved, or hides."""
UNSEEN_SHARE, UNSEEN_AREA = 0.03, 1.0
"""So little that could not be looked at, as a share of the field and in m^2, is not worth a word: there are nooks."""


class Sector(NamedTuple):
    """What a camera sees of the ground, objects standing on it.

    Attributes:
        half_view: half its field of view (rad).
        nearest, farthest: distances (m) between which it sees them.
    """

    half_view: float
    nearest: float
    farthest: float


class LookRound(NamedTuple):
    """What a robot sees that turns round on the spot and looks.

    Attributes:
        nearest, farthest: the ground between these distances (m) from its middle.
        room: what it needs round its middle (m).
    """

    nearest: float
    farthest: float
    room: float


class Lookout(NamedTuple):
    """A place to look round from (m); ``sees`` has a bit for each square to be seen from there, by its number."""

    x: float
    y: float
    sees: int


class Squares:
    """The ground, cut into squares.

    Attributes:
        side: of a square (m).
        middles: of those on which an object could stand, the tray's left out; a square's number is its index here.
    """

    def __init__(self, ground: Ground) -> None:
        xs, ys = [x for x, _ in ground.boundary], [y for _, y in ground.boundary]
        self._left, self._low = min(xs), min(ys)
        wide, high = max(xs) - self._left, max(ys) - self._low
        self.side = max(SIDE, math.sqrt(wide * high / MOST_SQUARES))
        self.middles: list[XY] = []
        self._numbers: dict[tuple[int, int], int] = {}
        self._walls = ground.walls
        for row in range(math.ceil(high / self.side)):
            for column in range(math.ceil(wide / self.side)):
                middle = self._left + self.side * (column + 0.5), self._low + self.side * (row + 0.5)
                if ground.clearance(*middle) > OFF_WALLS and not ground.in_zone(*middle):
                    self._numbers[column, row] = len(self.middles)
                    self.middles.append(middle)

    def within(self, place: XY, farthest: float) -> Iterator[int]:
        """Return the numbers of the squares whose middle is at most so far (m) from a place."""
        x, y = place
        side, limit = self.side, farthest * farthest
        columns = range(math.floor((x - farthest - self._left) / side), math.ceil((x + farthest - self._left) / side))
        for row in range(math.floor((y - farthest - self._low) / side), math.ceil((y + farthest - self._low) / side)):
            for column in columns:
                number = self._numbers.get((column, row), -1)
                if number >= 0:
                    at_x, at_y = self.middles[number]
                    if (at_x - x) ** 2 + (at_y - y) ** 2 <= limit:
                        yield number

    def walls_near(self, place: XY, farthest: float) -> list[tuple[XY, XY]]:
        """Return the walls that may hide something within so far (m) of a place."""
        return [wall for wall in self._walls if distance_to_segment(place, *wall) < farthest]

    def seen_round(self, place: XY, look: LookRound) -> int:
        """Return the squares, a bit each, that a robot sees that looks round at a place."""
        walls = self.walls_near(place, look.farthest)
        seen = 0
        for number in self.within(place, look.farthest):
            middle = self.middles[number]
            if math.dist(place, middle) >= look.nearest and not is_hidden(place, middle, walls):
                seen |= 1 << number
        return seen


def is_hidden(eye: XY, place: XY, walls: Sequence[tuple[XY, XY]]) -> bool:
    """Tell whether one of some walls stands between an eye and a place.

    Objects are no wider than a fifth of a square and hide little; what one hides, the next look shows.
    """
    return any(cross(eye, place, *wall) for wall in walls)


def lookouts_of(ground: Ground, squares: Squares, look: LookRound) -> list[Lookout]:
    """Return places to look round from, so that each square is seen from one of them if it can be seen at all.

    A grid over the field where there is room for it, and further places for the squares that cannot be seen from it:
    in a closet, behind a corner, in a corridor.
    """
    lookouts = [Lookout(*place, squares.seen_round(place, look)) for place in _grid(ground, look.room + EASY)]
    seen = _seen_from(lookouts)
    places = _Places(ground, squares, look.room)
    for number, middle in enumerate(squares.middles):
        if seen >> number & 1:
            continue
        place = places.to_see(middle, look)
        if place is not None:
            lookouts.append(Lookout(*place, squares.seen_round(place, look)))
            seen |= lookouts[-1].sees
    return lookouts


def _grid(ground: Ground, room: float) -> list[XY]:
    xs, ys = [x for x, _ in ground.boundary], [y for _, y in ground.boundary]
    spacing = max(SPACING, math.sqrt((max(xs) - min(xs)) * (max(ys) - min(ys)) / MOST_LOOKOUTS))
    return [
        (x, y)
        for x in _steps(min(xs), max(xs), spacing)
        for y in _steps(min(ys), max(ys), spacing)
        if _is_room(ground, x, y, room)
    ]


def _steps(low: float, high: float, spacing: float) -> list[float]:
    count = max(1, math.floor((high - low) / spacing))
    return [low + (high - low) * (index + 0.5) / count for index in range(count)]


def _is_room(ground: Ground, x: float, y: float, room: float) -> bool:
    return ground.clearance(x, y) > room and not ground.in_zone(x, y, margin=room)


def _seen_from(lookouts: Sequence[Lookout]) -> int:
    seen = 0
    for one in lookouts:
        seen |= one.sees
    return seen


class _Places:
    """Places at which the robot can turn round, nine to a square."""

    def __init__(self, ground: Ground, squares: Squares, room: float) -> None:
        self._ground, self._squares, self._room = ground, squares, room
        self._free: dict[int, list[XY]] = {}

    def to_see(self, place: XY, look: LookRound) -> XY | None:
        """Return the nearest of them from which a place is seen, if it is from any."""
        squares = self._squares
        numbers = squares.within(place, look.farthest)
        nearest_first = sorted(numbers, key=lambda number: math.dist(place, squares.middles[number]))
        walls = squares.walls_near(place, look.farthest)
        for number in nearest_first:
            for stand in self._in_square(number):
                is_in_reach = look.nearest <= math.dist(stand, place) <= look.farthest
                if is_in_reach and not is_hidden(stand, place, walls):
                    return stand
        return None

    def _in_square(self, number: int) -> list[XY]:
        found = self._free.get(number)
        if found is None:
            third, (x, y) = self._squares.side / 3.0, self._squares.middles[number]
            around = [(x + third * column, y + third * row) for column in (0, -1, 1) for row in (0, -1, 1)]
            found = self._free[number] = [one for one in around if _is_room(self._ground, *one, self._room)]
        return found


class LookedAt:
    """Which squares of the field have been looked at since something was last found.

    A square counts when it was in view `LOOKS` times, from different places or directions: one look can miss a thing.

    Args:
        ground: the field.
        look: what the robot sees at a lookout.
        places: the errand's own lookouts (m); without any, they are laid over the field.

    Attributes:
        lookouts: where it may be looked round from.
    """

    def __init__(self, ground: Ground, look: LookRound, places: Sequence[XY] = ()) -> None:
        self._squares = Squares(ground)
        self.lookouts = (
            [Lookout(*place, self._squares.seen_round(place, look)) for place in places]
            if places
            else lookouts_of(ground, self._squares, look)
        )
        self._failures = [0] * len(self.lookouts)
        self._gone_to = 0
        self._ever = 0
        self.clear()

    def clear(self) -> None:
        """Begin again: something was found, so what was looked at before proves less."""
        count = len(self._squares.middles)
        self._wanted = dict.fromkeys(range(count), LOOKS)
        self._bits = (1 << count) - 1
        self._visits = [0] * len(self.lookouts)
        self._failures = [min(failures, MOST_FAILURES - 1) for failures in self._failures]
        self._is_all: bool | None = None

    @property
    def all(self) -> bool:
        """All that can be looked at has been, but for a few squares here and there."""
        if self._is_all is None:
            self._is_all = not any(self._gain(number) > FEW for number in range(len(self.lookouts)))
        return self._is_all

    @property
    def unseen(self) -> float:
        """Share of the field that was not looked at and can be from no lookout; 0 where that is next to nothing."""
        open_ones = [one for number, one in enumerate(self.lookouts) if self._is_open(number)]
        unseen, all_of_them = (self._bits & ~_seen_from(open_ones)).bit_count(), len(self._squares.middles)
        few = min(UNSEEN_SHARE * all_of_them, UNSEEN_AREA / self._squares.side**2)
        return unseen / all_of_them if unseen > few else 0.0

    @property
    def overlooked(self) -> tuple[float, list[XY]]:
        """Side (m) and middles of the squares that have not been looked at at any time, finds or not."""
        squares = self._squares
        return squares.side, [place for number, place in enumerate(squares.middles) if not self._ever >> number & 1]

    @property
    def looks_wanted(self) -> dict[int, int]:
        """Squares still to be looked at, by number, and how often."""
        return dict(self._wanted)

    def restore(self, looks_wanted: dict[int, int]) -> None:
        """Take up again what `looks_wanted` told.

        Raises:
            ValueError: it names squares that this field does not have.
        """
        if not set(looks_wanted) <= set(range(len(self._squares.middles))):
            raise ValueError("it is of another field")
        self._wanted = dict(looks_wanted)
        self._bits = sum(1 << number for number in looks_wanted)
        self._ever = (1 << len(self._squares.middles)) - 1 & ~self._bits
        self._is_all = None

    def look(self, eye: XY, heading: float, sector: Sector) -> None:
        """Count what a camera at ``eye`` sees that looks along ``heading`` (rad)."""
        half_view, nearest, farthest = sector
        walls = self._squares.walls_near(eye, farthest)
        for number in self._squares.within(eye, farthest):
            if not self._bits >> number & 1:
                continue
            middle = self._squares.middles[number]
            dx, dy = middle[0] - eye[0], middle[1] - eye[1]
            is_in_view = abs(wrap(math.atan2(dy, dx) - heading)) <= half_view and math.hypot(dx, dy) >= nearest
            if is_in_view and not is_hidden(eye, middle, walls):
                self._count(number)

    def look_again_about(self, place: XY) -> None:
        """Have the ground about a place (m) looked at anew."""
        for number in self._squares.within(place, AGAIN_WITHIN):
            self._wanted[number] = LOOKS
            self._bits |= 1 << number
        self._is_all = None

    def _count(self, number: int) -> None:
        self._wanted[number] -= 1
        if not self._wanted[number]:
            del self._wanted[number]
            self._bits &= ~(1 << number)
            self._ever |= 1 << number
            self._is_all = None

    def worth_a_look(self) -> list[tuple[int, Lookout, float]]:
        """Return the lookouts from which more than a few squares are still to be seen: number, place, what it is worth.

        That is how many, and less where no way was found before.
        """
        gains = ((number, one, self._gain(number)) for number, one in enumerate(self.lookouts))
        return [(number, one, gain * FAILED ** self._failures[number]) for number, one, gain in gains if gain > FEW]

    def go_to(self, number: int) -> None:
        """Take note that a lookout is gone to."""
        self._visits[number] += 1
        self._gone_to = number
        self._is_all = None

    def cannot_reach(self, is_cut_off: Callable[[XY], bool]) -> None:
        """Take note that no way led to the lookout that was gone to last, nor leads to those cut off with it."""
        for number, one in enumerate(self.lookouts):
            if number == self._gone_to or is_cut_off((one.x, one.y)):
                self._failures[number] += 1
        self._is_all = None

    def _is_open(self, number: int) -> bool:
        return self._failures[number] < MOST_FAILURES and self._visits[number] < MOST_VISITS

    def _gain(self, number: int) -> int:
        """Return how many squares still to be looked at are seen from a lookout that may be gone to."""
        return (self.lookouts[number].sees & self._bits).bit_count() if self._is_open(number) else 0
