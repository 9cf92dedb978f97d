"""Ground that a body can come to from the start, and how wide the way there is.

By a grid of distances to the nearest side of the boundary or wall, as exact as it counts: a square is passed if some
place in it is, of so many that no doorway is taken for too narrow by where the grid lies.
"""

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from rover.estimate.field import Ground
from rover.geometry import XY, cross

SQUARE = 0.05
"""Side (m) of a square of the grid..."""
MOST_SQUARES = 250_000
"""... larger where there would be more of them."""
FINE = 5
"""Places along a square's side that are looked at where its middle does not tell."""

OPPOSITE = -0.5
"""Two ways whose directions have a cosine below this (120 deg apart) lead to the two sides of a passage."""

SHARPER = 3
"""Looked at again so often from its middle, a passage is told to the millimetre."""

Numbers = NDArray[np.float64]
Mask = NDArray[np.bool_]
Square = tuple[int, int]


class Passage(NamedTuple):
    """The narrowest place on the widest way: its middle and its width (m)."""

    x: float
    y: float
    width: float


@dataclass(frozen=True)
class Reach:
    """What of a field can be reached.

    Attributes:
        west, south: the grid's corner (m).
        square: side of its squares (m).
        room: distance (m) of each square's middle to the nearest side or wall, negative outside; rows from the south.
        passed: squares that the body's middle can be in, reached or not.
        reached: those it can come to from the start.
        need: how far (m) its middle keeps from sides and walls.
        covers: how far (m) round its middle the body comes.
    """

    ground: Ground
    west: float
    south: float
    square: float
    room: Numbers
    passed: Mask
    reached: Mask
    need: float
    covers: float

    @property
    def covered(self) -> Mask:
        """Squares that lie within ``covers`` of where the middle can be."""
        most = int(self.covers / self.square)
        covered = self.reached.copy()
        for row in range(-most, most + 1):
            half = int(math.sqrt(self.covers**2 - (row * self.square) ** 2) / self.square)
            for column in range(-half, half + 1):
                covered |= _shifted(self.reached, row, column)
        return covered & (self.room > 0.0)

    @property
    def share(self) -> float:
        """Share of the field that the body can come to."""
        return float(self.covered.sum() / max(1, (self.room > 0.0).sum()))

    def comes_to(self, place: XY) -> bool:
        """Tell whether the middle can come to a place, if there is room for it there at all."""
        return any(True for _ in _beside(self, self.reached, place))

    def middle(self, square: Square) -> XY:
        """Return the middle of a square (m)."""
        return self.west + (square[1] + 0.5) * self.square, self.south + (square[0] + 0.5) * self.square

    def square_at(self, place: XY) -> Square:
        """Return the square in which a place lies, the nearest one where it is off the grid."""
        rows, columns = self.room.shape
        row, column = (int((place[1] - self.south) // self.square), int((place[0] - self.west) // self.square))
        return min(max(row, 0), rows - 1), min(max(column, 0), columns - 1)

    def narrowest(self, start: XY, end: XY) -> Passage | None:
        """Return the narrowest place of the widest way between two places, None where walls shut one off.

        How near the two themselves are to a wall does not count.
        """
        first, last = (_widest_near(self.room, self.square_at(place)) for place in (start, end))
        way = _widest_way(self.room, first, last, least=0.5 * self.square + 1e-9)
        if not way:
            return None
        tight = min(self.room[square] for square in way) + 0.5 * self.square
        tightest = (square for square in way if self.room[square] <= tight)
        passages = (_across(self.middle(square), float(self.room[square]), self.ground) for square in tightest)
        passage = min(passages, key=lambda passage: passage.width)
        for _ in range(SHARPER):
            passage = _across(passage[:2], 0.5 * passage.width, self.ground)
        return passage


def reach_of(ground: Ground, start: XY, need: float, margin: float = 0.0) -> Reach:
    """Return what a body can reach from a start whose middle keeps ``need`` (m) from sides and walls, and comes near to
    them but for a ``margin`` (m) of that.

    A start that is nearer to one than that counts from the free ground beside it.
    """
    xs, ys = zip(*ground.boundary, strict=True)
    west, south, width, height = min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)
    square = max(SQUARE, math.sqrt(width * height / MOST_SQUARES))
    columns, rows = math.ceil(width / square), math.ceil(height / square)
    across, up = np.meshgrid(west + (np.arange(columns) + 0.5) * square, south + (np.arange(rows) + 0.5) * square)
    room = clearances(np.column_stack([across.ravel(), up.ravel()]), ground).reshape(rows, columns)
    passed = room >= need
    unclear = np.argwhere((room < need) & (room > need - square * math.sqrt(0.5)))
    if len(unclear):
        middles = np.column_stack([west + (unclear[:, 1] + 0.5) * square, south + (unclear[:, 0] + 0.5) * square])
        for shift in _within(square):
            is_passed = clearances(middles + np.array(shift), ground) >= need - 0.5 * square / (FINE - 1)
            passed[unclear[is_passed, 0], unclear[is_passed, 1]] = True
    reach = Reach(ground, west, south, square, room, passed, np.zeros_like(passed), need, need - margin)
    reach.reached[:] = _flooded(passed, list(_beside(reach, passed, start)))
    return reach


def mean_distance(reach: Reach, place: XY) -> float:
    """Return the mean distance (m), as the crow flies, between a place and the ground that can be reached."""
    rows, columns = np.nonzero(reach.reached)
    x, y = reach.west + (columns + 0.5) * reach.square, reach.south + (rows + 0.5) * reach.square
    return float(np.hypot(x - place[0], y - place[1]).mean()) if len(rows) else 0.0


def clearances(places: Numbers, ground: Ground) -> Numbers:
    """Return how far (m) each place (rows of x, y) is from the nearest side or wall, as `Ground.clearance` does."""
    nearest = np.full(len(places), np.inf)
    for (ax, ay), (bx, by) in (*ground.edges, *ground.walls):
        dx, dy = bx - ax, by - ay
        off_x, off_y = places[:, 0] - ax, places[:, 1] - ay
        length2 = dx * dx + dy * dy
        along = np.clip((off_x * dx + off_y * dy) / length2, 0.0, 1.0) if length2 else 0.0
        off_x, off_y = off_x - along * dx, off_y - along * dy
        np.minimum(nearest, off_x * off_x + off_y * off_y, out=nearest)
    distances: Numbers = np.sqrt(nearest)
    return np.where(_inside(places, ground.boundary), distances, -distances)


def _inside(places: Numbers, polygon: tuple[XY, ...]) -> Mask:
    """Tell of each place whether it lies in a polygon, as `rover.geometry.inside` does."""
    x, y = places[:, 0], places[:, 1]
    result = np.zeros(len(places), dtype=bool)
    for (x1, y1), (x2, y2) in zip((polygon[-1], *polygon[:-1]), polygon, strict=True):
        if y1 != y2:
            result ^= ((y1 > y) != (y2 > y)) & (x < (x2 - x1) * (y - y1) / (y2 - y1) + x1)
    return result


def _within(square: float) -> list[XY]:
    """Return shifts from the middle of a square to places all over it."""
    steps = [square * (index / (FINE - 1) - 0.5) for index in range(FINE)]
    return [(dx, dy) for dx in steps for dy in steps]


def _shifted(mask: Mask, rows: int, columns: int) -> Mask:
    """Return a mask moved by so many squares to the north and east; nothing comes in."""
    height, width = mask.shape
    moved = np.zeros_like(mask)
    if abs(rows) < height and abs(columns) < width:
        moved[max(rows, 0) : height + min(rows, 0), max(columns, 0) : width + min(columns, 0)] = mask[
            max(-rows, 0) : height - max(rows, 0), max(-columns, 0) : width - max(columns, 0)
        ]
    return moved


def _beside(reach: Reach, mask: Mask, place: XY) -> Iterator[Square]:
    """Yield squares of a mask within ``need`` of a place and a square, with no side or wall between."""
    row, column = reach.square_at(place)
    most = math.ceil(reach.need / reach.square) + 1
    rows, columns = mask.shape
    barriers = [*reach.ground.edges, *reach.ground.walls]
    for r in range(max(0, row - most), min(rows, row + most + 1)):
        for c in range(max(0, column - most), min(columns, column + most + 1)):
            middle = reach.middle((r, c))
            is_near = mask[r, c] and math.dist(middle, place) <= reach.need + reach.square
            if is_near and not any(cross(place, middle, *barrier) for barrier in barriers):
                yield r, c


def _flooded(passed: Mask, seeds: list[Square]) -> Mask:
    """Return the squares that can be come to from some of them, from side to side."""
    rows, columns = passed.shape
    padded = np.zeros((rows + 2, columns + 2), dtype=bool)
    padded[1:-1, 1:-1] = passed
    open_squares, wide = padded.ravel(), columns + 2
    reached = np.zeros_like(open_squares)
    front = np.array([(row + 1) * wide + column + 1 for row, column in seeds], dtype=np.intp)
    while len(front):
        reached[front] = True
        beside = np.concatenate([front + 1, front - 1, front + wide, front - wide])
        front = np.unique(beside[open_squares[beside] & ~reached[beside]])
    return reached.reshape(rows + 2, columns + 2)[1:-1, 1:-1]


def _widest_near(room: Numbers, square: Square) -> Square:
    """Return where one comes to from a square by going to ever wider places."""
    while True:
        best = max(_neighbours(room, square), key=lambda one: room[one], default=square)
        if room[best] <= room[square]:
            return square
        square = best


def _widest_way(room: Numbers, first: Square, last: Square, least: float) -> list[Square]:
    """Return the squares of the way whose tightest one has most room; none where there is no way.

    Squares with no more than ``least`` (m) may have a wall between them and the next.
    """
    before = {first: first}
    waiting = [(-float(room[first]), first)]
    while waiting:
        _, square = heapq.heappop(waiting)
        if square == last:
            way = [square]
            while way[-1] != first:
                way.append(before[way[-1]])
            return way
        for one in _neighbours(room, square):
            if one not in before and room[one] > least:
                before[one] = square
                heapq.heappush(waiting, (-float(room[one]), one))
    return []


def _across(place: XY, room: float, ground: Ground) -> Passage:
    """Return the passage that a place is in: between what is nearest and what is nearest on the other side."""
    points = [_nearest(place, *barrier) for barrier in (*ground.edges, *ground.walls)]
    ways = sorted((math.dist(place, point), point[0] - place[0], point[1] - place[1]) for point in points)
    one, dx, dy = ways[0]
    for other, to_x, to_y in ways:
        if dx * to_x + dy * to_y < OPPOSITE * one * other:
            middle = (place[0] + 0.5 * (dx + to_x), place[1] + 0.5 * (dy + to_y))
            return Passage(*middle, math.hypot(to_x - dx, to_y - dy))
    return Passage(*place, 2.0 * room)


def _nearest(place: XY, start: XY, end: XY) -> XY:
    """Return the point of a line that is nearest to a place."""
    (ax, ay), (dx, dy) = start, (end[0] - start[0], end[1] - start[1])
    length2 = dx * dx + dy * dy
    along = ((place[0] - ax) * dx + (place[1] - ay) * dy) / length2 if length2 else 0.0
    along = min(1.0, max(0.0, along))
    return ax + along * dx, ay + along * dy


def _neighbours(room: Numbers, square: Square) -> Iterator[Square]:
    rows, columns = room.shape
    for row, column in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        r, c = square[0] + row, square[1] + column
        if 0 <= r < rows and 0 <= c < columns:
            yield r, c
