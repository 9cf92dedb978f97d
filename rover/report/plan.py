"""The floor plan of a run: an SVG picture on squared paper."""

import math
from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.events import Delivery, Find, GivenUp
from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report import look, symbols
from rover.report.figures import (
    FindError,
    ellipse_of,
    errors_of,
    left_on_the_floor,
    overlooked,
    placed,
    signs_in,
    things_met,
    verdicts_of,
)
from rover.report.floor import DrawnField
from rover.report.labels import Box, LabelSpace, box_round
from rover.report.legend import draw_strip, run_entries, strip_height
from rover.report.markup import add
from rover.report.numbers import TIMES, clock, metres, millimetres, with_minus
from rover.report.table import Letter
from rover.report.view import MARGIN_BOTTOM, MARGIN_TOP, WIDTH, View, grid_lines, view_of

SHORTEST_STEP = 0.8  # picture units; nearer points of a path would only make the file longer


class Sheet(NamedTuple):
    """What is drawn on: the picture, where places lie on it, and where labels may still go."""

    picture: Element
    view: View
    space: LabelSpace

    def group(self, hover: str) -> Element:
        """Return a group that says something where the pointer rests on it."""
        group = add(self.picture, "g", {"class": "thing"})
        add(group, "title", text=hover)
        return group


def draw_plan(ground: DrawnField, run: RecordedRun, width: float = WIDTH) -> Element:
    """Return the plan of the ground and of what happened on it, so wide, with its legend beneath."""
    view, entries = view_of(ground, run, width), run_entries(ground, run)
    height = view.bottom + MARGIN_BOTTOM + strip_height(entries, width)
    picture = Element("svg", {"viewBox": f"0 0 {width:g} {height:.0f}", "role": "img", "aria-label": "Floor plan"})
    sheet = Sheet(picture, view, LabelSpace(Box(view.left, MARGIN_TOP, view.right, view.bottom).grown(-2)))
    draw_grid(picture, view)
    draw_unseen(picture, view, overlooked(run))
    draw_ground(picture, view, ground)
    _draw_paths(sheet, run)
    draw_names(sheet, ground)
    _draw_things(sheet, run)
    _draw_finds(sheet, run)
    draw_strip(picture, view, entries, ground.north)
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


def draw_unseen(picture: Element, view: View, squares: tuple[float, Sequence[XY]]) -> None:
    """Mark squares of ground (side, middles; m) that were not looked at, or cannot be, with bars."""
    bars, half = "", 0.5 * squares[0]
    for x, y in squares[1]:
        for up in (0.5 * half, -0.5 * half):
            left, level = view.at(x - half, y + up)
            bars += f"M{left:.1f} {level:.1f}h{2.0 * half * view.scale:.1f}"
    if bars:
        add(picture, "path", {"d": bars, **look.stroke_attributes(look.UNSEEN, look.INK_SOFT)})


def draw_ground(picture: Element, view: View, ground: DrawnField) -> None:
    """Draw what stands there before a run: boundary, tray, walls, and what of it no map has."""
    if ground.boundary:
        symbols.polygon(picture, [view.at(*point) for point in ground.boundary], look.BOUNDARY)
    if ground.tray:
        symbols.polygon(picture, [view.at(*point) for point in ground.tray], look.TRAY)
    for point in ground.slots:
        symbols.slot(picture, view.at(*point))
    for a, b in ground.walls.values():
        symbols.line(picture, view.at(*a), view.at(*b), look.WALL)
    for a, b in ground.unmapped_walls:
        symbols.line(picture, view.at(*a), view.at(*b), look.UNMAPPED)
    for x, y, radius in ground.posts:
        symbols.post(picture, view.at(x, y), radius * view.scale)
    if ground.marker is not None:
        symbols.marker(picture, view.at(*ground.marker))


def draw_names(sheet: Sheet, ground: DrawnField) -> None:
    """Draw what has to stand above the paths: the names of walls and places, and the start."""
    picture, view, space = sheet
    for name, ends in ground.walls.items():
        space.add_box(draw_wall_name(picture, view, name, ends))
    if ground.start:
        x, y, heading = ground.start
        symbols.station(picture, view.at(x, y), heading or 0.0)
        space.add_box(box_round(view.at(x, y), 22, 22))
    for x, y, heading in ground.places.values():
        symbols.named_place(picture, view.at(x, y), heading)
        space.add_box(box_round(view.at(x, y), 16, 16))
    for name, (x, y, _) in ground.places.items():
        box = space.place(view.at(x, y), 2.0, (7.0 * len(name), 15.0))
        at = box.left, box.bottom - 3.5
        symbols.words(picture, at, name, font_style="italic")


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


def _draw_paths(sheet: Sheet, run: RecordedRun) -> None:
    picture, view, space = sheet
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
    if last:
        symbols.ended(picture, last[0])
        space.add_box(box_round(last[0], 16, 16))


def _finite(*numbers: float) -> bool:
    return all(map(math.isfinite, numbers))


def _thinned(points: list[XY]) -> list[XY]:
    """Return the points without those that are too near to the one before; the last one always stays."""
    kept = points[:1]
    for point in points[1:]:
        if math.dist(point, kept[-1]) >= SHORTEST_STEP:
            kept.append(point)
    return kept + points[-1:]


def _draw_things(sheet: Sheet, run: RecordedRun) -> None:
    """Draw what stands about at the end, and what was met."""
    _, view, space = sheet
    signs = signs_in(run)
    side = min(max(0.09 * view.scale, 5.0), 14.0)
    for delivery in placed(run, Delivery):
        at, sign = view.at(delivery.x, delivery.y), signs[delivery.kind]
        place = f"x {metres(delivery.x)} m, y {metres(delivery.y)} m"
        said = f"{delivery.kind}, delivery {delivery.number}, slot {delivery.slot}: {place}"
        symbols.set_down(sheet.group(said), at, side, (sign.tint, sign.text))
        space.add_box(box_round(at, side, side))
    for one in left_on_the_floor(run):
        at, sign = view.at(one.x, one.y), signs[one.kind]
        said = f"{one.kind} {one.id}: at the end at x {metres(one.x)} m, y {metres(one.y)} m"
        symbols.left_standing(sheet.group(said), at, (sign.tint, sign.text))
        space.add_box(box_round(at, 16, 16))
    for met in things_met(run):
        at, spread = view.at(met.x, met.y), met.spread if math.isfinite(met.spread) else 0.0
        how = "touched" if met.touched else "only heard"
        said = f"{how} at {clock(met.at_ns - run.started_ns)} min:s, its place known to {millimetres(spread)} mm (95 %)"
        symbols.met(sheet.group(said), at, spread * view.scale, touched=met.touched)
        space.add_box(box_round(at, 14, 14))


class _Label(NamedTuple):
    """A label that names what is drawn within ``clear`` picture units of ``anchor``; ``marked``: with two frames."""

    anchor: XY
    clear: float
    text: str
    sign: Letter
    marked: bool = False


def _draw_finds(sheet: Sheet, run: RecordedRun) -> None:
    picture, view, _ = sheet
    signs, verdicts, errors = signs_in(run), verdicts_of(run), errors_of(run)
    labels = []
    for lost in placed(run, GivenUp):
        at, sign = view.at(lost.x, lost.y), signs[lost.kind]
        symbols.given_up(sheet.group(f"{lost.kind}: {lost.why}"), at, sign.tint)
        labels.append(_Label(at, 10.0, sign.text, sign))
    for find in (one for one in run.finds if _finite(one.x, one.y)):
        at, axes, sign = view.at(find.x, find.y), ellipse_of(find), signs[find.kind]
        group = sheet.group(_find_words(find, errors.get(find.number)))
        if _finite(axes.major_m, axes.minor_m):
            symbols.ellipse(group, at, axes, (view.scale, sign.tint.fill))
        symbols.found(group, at, sign.tint)
        clear = min(max(8.0, axes.major_m * view.scale), 60.0)
        is_beyond = find.number in verdicts and verdicts[find.number].is_beyond
        labels.append(_Label(at, clear, f"{sign.text}{find.number}", sign, is_beyond))
    for truth in run.true_finds.values():
        symbols.true_place(picture, view.at(truth.x, truth.y))
    _draw_labels(sheet, labels)


def _find_words(find: Find, error: FindError | None) -> str:
    """Return what is said of a find where the pointer rests on it."""
    axes = ellipse_of(find)
    words = f"find {find.number}, {find.kind}: x {metres(find.x)} m, y {metres(find.y)} m; 95 % ellipse, semi-axes "
    words += f"{millimetres(axes.major_m)} {TIMES} {millimetres(axes.minor_m)} mm"
    return words if error is None else f"{words}; larger axis error {millimetres(error.larger_axis)} mm"


def _draw_labels(sheet: Sheet, labels: list[_Label]) -> None:
    picture, _, space = sheet
    for label in labels:
        space.add_box(box_round(label.anchor, 2 * label.clear, 2 * label.clear))
    for label in labels:
        size = (symbols.tag_width(label.text), symbols.TAG_HEIGHT)
        box = space.place(label.anchor, label.clear, (size[0] + 6, size[1] + 6) if label.marked else size)
        symbols.line(picture, label.anchor, box.middle, look.Stroke(0.7))
        symbols.tag(picture, box.middle, label.text, label.sign.tint, marked=label.marked)
