"""From metres in the field to units in the picture: extent, scale and grid of the plan."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from rover.events import Delivery, Find, GivenUp
from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report.floor import DrawnField

WIDTH, NARROW = 1000.0, 380.0
"""A picture is drawn twice, for a wide page and for a phone: text has the same size on both."""
MARGIN_LEFT, MARGIN_TOP, MARGIN_RIGHT, MARGIN_BOTTOM = 48.0, 12.0, 14.0, 40.0
HIGHEST = 780.0
LEAST = 1.0
FINEST_SQUARE = 9.0  # smaller squares would read as a grey tone
SQUARES = (0.1, 0.5, 1.0, 5.0, 10.0, 50.0, 100.0, 500.0, 1000.0, 5000.0)


@dataclass(frozen=True)
class View:
    """The part of the field that is shown, and how large.

    Attributes:
        west, south, east, north: its edges (m), on lines of the fine grid.
        scale: picture units a metre.
        fine, bold: spacing of the grid's lines (m).
        width: of the picture, in its units.
    """

    west: float
    south: float
    east: float
    north: float
    scale: float
    fine: float
    bold: float
    width: float = WIDTH

    @property
    def left(self) -> float:
        """Left edge of the plan in the picture; a narrow plan stands in the middle."""
        spare = self.width - MARGIN_LEFT - MARGIN_RIGHT - (self.east - self.west) * self.scale
        return MARGIN_LEFT + max(spare, 0.0) / 2.0

    @property
    def right(self) -> float:
        """Right edge of the plan in the picture."""
        return self.left + (self.east - self.west) * self.scale

    @property
    def bottom(self) -> float:
        """Lower edge of the plan in the picture."""
        return MARGIN_TOP + (self.north - self.south) * self.scale

    def at(self, x: float, y: float) -> XY:
        """Return the place in the picture of (x, y) m: x to the right, y up."""
        return self.left + (x - self.west) * self.scale, MARGIN_TOP + (self.north - y) * self.scale


def view_of(ground: DrawnField, run: RecordedRun, width: float = WIDTH) -> View:
    """Return the view that shows the ground and all that happened on it."""
    return view_round((*ground_points(ground), *_run_points(run)), width)


def view_round(shown: Iterable[XY], picture: float = WIDTH) -> View:
    """Return the view, so wide a picture, that shows all of some points (m) that are known."""
    points = [point for point in shown if all(map(math.isfinite, point))]
    xs, ys = [x for x, _ in points] or [0.0], [y for _, y in points] or [0.0]
    pad = 0.035 * max(max(xs) - min(xs), max(ys) - min(ys))
    west, east = _widened(min(xs) - pad, max(xs) + pad)
    south, north = _widened(min(ys) - pad, max(ys) + pad)
    fine, bold = _squares(_scale(east - west, north - south, picture))
    west, south = math.floor(west / fine) * fine, math.floor(south / fine) * fine
    east, north = math.ceil(east / fine) * fine, math.ceil(north / fine) * fine
    return View(west, south, east, north, _scale(east - west, north - south, picture), fine, bold, picture)


def _widened(low: float, high: float) -> tuple[float, float]:
    """Return the span made at least `LEAST` m wide, so that a run that went nowhere has a plan too."""
    more = max(LEAST - (high - low), 0.0) / 2.0
    return low - more, high + more


def ground_points(ground: DrawnField) -> Iterable[XY]:
    """Return the points that the ground reaches to."""
    ends = [end for wall in ground.walls.values() for end in wall]
    single = [place[:2] for place in (ground.start, *ground.places.values()) if place is not None]
    if ground.marker is not None:
        single.append(ground.marker)
    return (*ground.boundary, *ends, *ground.tray, *ground.slots, *single)


def _run_points(run: RecordedRun) -> Iterable[XY]:
    track = [(sample.point.x, sample.point.y) for sample in run.track]
    truth = [(pose.x, pose.y) for pose in run.true_track]
    places = [(event.x, event.y) for _, event in run.happenings if isinstance(event, Find | Delivery | GivenUp)]
    stood = [(found.x, found.y) for found in run.true_finds.values()]
    return (*track, *truth, *places, *stood, *((one.x, one.y) for one in run.final_objects))


def _scale(width: float, height: float, picture: float) -> float:
    return min((picture - MARGIN_LEFT - MARGIN_RIGHT) / width, HIGHEST / height)


def _squares(scale: float) -> tuple[float, float]:
    pairs = pairwise(SQUARES)
    return next(((fine, bold) for fine, bold in pairs if fine * scale >= FINEST_SQUARE), SQUARES[-2:])


def grid_lines(low: float, high: float, spacing: float) -> list[float]:
    """Return the multiples of ``spacing`` from ``low`` to ``high`` (m), both included."""
    first, last = math.ceil(low / spacing - 1e-6), math.floor(high / spacing + 1e-6)
    return [number * spacing for number in range(first, last + 1)]
