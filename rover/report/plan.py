"""The floor plan of a run: an SVG picture on squared paper."""

import math
from itertools import groupby
from typing import NamedTuple, TypeVar
from xml.etree.ElementTree import Element

from rover.events import Delivery, GivenUp
from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report import look, symbols
from rover.report.figures import ellipse_of, kinds_of
from rover.report.floor import DrawnField
from rover.report.labels import Box, LabelSpace, box_round
from rover.report.legend import draw_strip, run_entries, strip_height
from rover.report.markup import add
from rover.report.numbers import with_minus
from rover.report.view import MARGIN_BOTTOM, MARGIN_TOP, WIDTH, View, grid_lines, view_of

Placed = TypeVar("Placed", Delivery, GivenUp)
SHORTEST_STEP = 0.8  # picture units; nearer points of a path would only make the file longer


def draw_plan(ground: DrawnField, run: RecordedRun) -> Element:
    """Return the plan of the ground and of what happened on it, with its legend beneath."""
    view = view_of(ground, run)
    height = view.bottom + MARGIN_BOTTOM + strip_height(run_entries(run))
    picture = Element("svg", {"viewBox": f"0 0 {WIDTH:g} {height:.0f}", "role": "img", "aria-label": "Floor plan"})
    space = LabelSpace(Box(view.left, MARGIN_TOP, view.right, view.bottom).grown(-2))
    draw_grid(picture, view)
    draw_ground(picture, view, ground)
    _draw_paths(picture, view, run, space)
    _draw_names(picture, view, ground, space)
    _draw_events(picture, view, run, space)
    draw_strip(picture, view, run_entries(run))
    return picture


def draw_grid(picture: Element, view: View) -> None:
    """Draw the squared paper and its axes."""
    group = add(picture, "g")
    for spacing, colour in ((view.fine, look.GRID_FINE), (view.bold, look.GRID_BOLD)):
        for x in grid_lines(view.west, view.east, spacing):
            symbols.line(group, view.at(x, view.south), view.at(x, view.north), symbols.HAIR, colour)
        for y in grid_lines(view.south, view.north, spacing):
            symbols.line(group, view.at(view.west, y), view.at(view.east, y), symbols.HAIR, colour)
    frame = {"x": view.left, "y": MARGIN_TOP, "width": view.right - view.left, "height": view.bottom - MARGIN_TOP}
    add(group, "rect", {**frame, **look.stroke_attributes(symbols.HAIR)})
    _write_axes(picture, view)


def _write_axes(picture: Element, view: View) -> None:
    every = view.bold * math.ceil(42.0 / (view.bold * view.scale))
    for x in grid_lines(view.west, view.east, every):
        symbols.words(picture, (view.at(x, 0)[0], view.bottom + 16), with_minus(f"{x:z.4g}"), text_anchor="middle")
    for y in grid_lines(view.south, view.north, every):
        symbols.words(picture, (view.left - 7, view.at(0, y)[1] + 4), with_minus(f"{y:z.4g}"), text_anchor="end")
    italic = {"font_style": "italic", "fill": look.INK_SOFT}
    symbols.words(picture, (view.right, view.bottom + 32), "x in m", text_anchor="end", **italic)
    x, y = view.left - 34, MARGIN_TOP + 44
    symbols.words(picture, (x, y), "y in m", transform=f"rotate(-90 {x:g} {y:g})", **italic)


def draw_ground(picture: Element, view: View, ground: DrawnField) -> None:
    """Draw what stands there before a run: boundary, tray, walls."""
    if ground.boundary:
        symbols.polygon(picture, [view.at(*point) for point in ground.boundary], look.BOUNDARY)
    if ground.tray:
        symbols.polygon(picture, [view.at(*point) for point in ground.tray], look.TRAY)
    for point in ground.slots:
        symbols.slot(picture, view.at(*point))
    for a, b in ground.walls.values():
        symbols.line(picture, view.at(*a), view.at(*b), look.WALL)


def _draw_names(picture: Element, view: View, ground: DrawnField, space: LabelSpace) -> None:
    """Draw what has to stand above the paths: the names of the walls, and the start."""
    for name, ends in ground.walls.items():
        space.add_box(draw_wall_name(picture, view, name, ends))
    if ground.start:
        x, y, heading = ground.start
        symbols.station(picture, view.at(x, y), heading)
        space.add_box(box_round(view.at(x, y), 22, 22))


def draw_wall_name(picture: Element, view: View, name: str, ends: tuple[XY, XY]) -> Box:
    """Write a wall's name along it, on the side away from the middle of the plan."""
    (ax, ay), (bx, by) = sorted(view.at(*end) for end in ends)
    length = math.hypot(bx - ax, by - ay) or 1.0
    middle = ((ax + bx) / 2.0, (ay + by) / 2.0)
    normal = ((by - ay) / length, (ax - bx) / length)
    outward = (middle[0] - (view.left + view.right) / 2.0, middle[1] - (MARGIN_TOP + view.bottom) / 2.0)
    side = 11.0 if normal[0] * outward[0] + normal[1] * outward[1] >= 0 else -11.0
    x, y = middle[0] + side * normal[0], middle[1] + side * normal[1]
    turn = f"rotate({math.degrees(math.atan2(by - ay, bx - ax)):.1f} {x:.1f} {y:.1f})"
    centred = {"text_anchor": "middle", "dominant_baseline": "central", "font_style": "italic"}
    symbols.words(picture, (x, y), name, transform=turn, **centred)
    return box_round((x, y), 16, 16)


def _draw_paths(picture: Element, view: View, run: RecordedRun, space: LabelSpace) -> None:
    truth = _thinned([view.at(pose.x, pose.y) for pose in run.true_track if _finite(pose.x, pose.y)])
    if truth:
        symbols.polyline(picture, truth, look.TRUE_PATH, look.INK_SOFT)
    strokes = look.state_strokes(sample.point.state for sample in run.track)
    known = [sample for sample in run.track if _finite(sample.point.x, sample.point.y)]
    last: list[XY] = []
    for state, samples in groupby(known, lambda sample: look.outermost(sample.point.state)):
        points = _thinned(last + [view.at(sample.point.x, sample.point.y) for sample in samples])
        symbols.polyline(picture, points, strokes[state])
        space.add_line(points)
        last = points[-1:]


def _finite(*numbers: float) -> bool:
    return all(map(math.isfinite, numbers))


def _thinned(points: list[XY]) -> list[XY]:
    """Return the points without those that are too near to the one before; the last one always stays."""
    kept = points[:1]
    for point in points[1:]:
        if math.dist(point, kept[-1]) >= SHORTEST_STEP:
            kept.append(point)
    return kept + points[-1:]


def _draw_events(picture: Element, view: View, run: RecordedRun, space: LabelSpace) -> None:
    tint_of, letter_of = look.tints(kinds_of(run)), look.letters(kinds_of(run))
    side = min(max(0.09 * view.scale, 5.0), 14.0)
    for delivery in _placed(run, Delivery):
        at = view.at(delivery.x, delivery.y)
        symbols.set_down(picture, at, side, (tint_of[delivery.kind], letter_of[delivery.kind]))
        space.add_box(box_round(at, side, side))
    labels = []
    for lost in _placed(run, GivenUp):
        at = view.at(lost.x, lost.y)
        symbols.given_up(picture, at, tint_of[lost.kind])
        labels.append(_Label(at, 10.0, letter_of[lost.kind], tint_of[lost.kind]))
    for find in (one for one in run.finds if _finite(one.x, one.y)):
        at, axes = view.at(find.x, find.y), ellipse_of(find)
        if _finite(axes.major_m, axes.minor_m):
            symbols.ellipse(picture, at, axes, (view.scale, tint_of[find.kind].fill))
        symbols.found(picture, at, tint_of[find.kind])
        clear = min(max(8.0, axes.major_m * view.scale), 60.0)
        labels.append(_Label(at, clear, f"{letter_of[find.kind]}{find.number}", tint_of[find.kind]))
    for truth in run.true_finds.values():
        symbols.true_place(picture, view.at(truth.x, truth.y))
    _draw_labels(picture, labels, space)


def _placed(run: RecordedRun, kind: type[Placed]) -> list[Placed]:
    """Return the events of a class that have a place: where it was lost, x and y are NaN."""
    return [event for event in run.events_of(kind) if _finite(event.x, event.y)]


class _Label(NamedTuple):
    """A label that names what is drawn within ``clear`` picture units of ``anchor``."""

    anchor: XY
    clear: float
    text: str
    tint: look.Tint


def _draw_labels(picture: Element, labels: list[_Label], space: LabelSpace) -> None:
    for label in labels:
        space.add_box(box_round(label.anchor, 2 * label.clear, 2 * label.clear))
    for label in labels:
        box = space.place(label.anchor, label.clear, (symbols.tag_width(label.text), symbols.TAG_HEIGHT))
        symbols.line(picture, label.anchor, box.middle, look.Stroke(0.7))
        symbols.tag(picture, box.middle, label.text, label.tint)
