"""The errors of finds as a picture: how far off each reported place is, along x and along y."""

import math
from collections.abc import Sequence
from textwrap import wrap
from xml.etree.ElementTree import Element

from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report import look, symbols
from rover.report.axis import Axis, round_step
from rover.report.figures import allowance_of, errors_of, signs_in
from rover.report.labels import Box, LabelSpace, box_round
from rover.report.markup import add
from rover.report.numbers import millimetres, with_minus
from rover.report.view import WIDTH

LARGEST, LEFT, TOP, BOTTOM = 480.0, 56.0, 10.0, 90.0
ROOM = 1.15
"""The picture goes so much beyond the largest error."""
ALLOWANCE = look.Stroke(1.8, "7 4")


def draw_errors(run: RecordedRun, width: float = WIDTH) -> Element:
    """Return the errors of the finds whose true place is known, reported less true, in a square about no error."""
    errors, allowance = errors_of(run), allowance_of(run)
    side = min(LARGEST, width - LEFT - 14.0)
    left = max(LEFT, 0.5 * (width - side))
    reach = ROOM * max([one.larger_axis for one in errors.values()] + [allowance or 0.0, 0.01])
    across, up = Axis(-reach, reach, left, left + side), Axis(-reach, reach, TOP + side, TOP)
    height = TOP + side + BOTTOM
    picture = Element("svg", {"viewBox": f"0 0 {width:g} {height:g}", "role": "img", "aria-label": "Errors of finds"})
    _draw_paper(picture, across, up)
    _draw_rings(picture, across, up)
    if allowance is not None:
        (west, east), (south, north) = ((axis.at(-allowance), axis.at(allowance)) for axis in (across, up))
        symbols.polygon(picture, [(west, south), (east, south), (east, north), (west, north)], ALLOWANCE)
    _draw_points(picture, run, (across, up))
    said = "a mark: reported less true place of a find; rings: distance"
    words = said if allowance is None else f"{said}; dashed: the errand's allowance, {allowance * 1000:.4g} mm"
    for at, text in enumerate(wrap(words, round(side / 6.6))):
        place = left, TOP + side + 52.0 + 16.0 * at
        symbols.words(picture, place, text, font_style="italic", fill=look.INK_SOFT)
    return picture


def _draw_paper(picture: Element, across: Axis, up: Axis) -> None:
    for tick in across.ticks(6):
        x, y = across.at(tick), up.at(tick)
        colour = look.GRID_BOLD if tick else look.INK_SOFT
        symbols.line(picture, (x, up.start), (x, up.end), symbols.HAIR, colour)
        symbols.line(picture, (across.start, y), (across.end, y), symbols.HAIR, colour)
        text = with_minus(f"{tick * 1000:z.4g}")
        symbols.words(picture, (x, up.start + 16.0), text, text_anchor="middle")
        symbols.words(picture, (across.start - 6.0, y + 4.5), text, text_anchor="end")
    corners = [(x, y) for x, y in ((across.start, up.start), (across.end, up.start))]
    corners += [(across.end, up.end), (across.start, up.end)]
    symbols.polygon(picture, corners, symbols.HAIR)
    italic = {"font_style": "italic", "fill": look.INK_SOFT}
    symbols.words(picture, (across.end, up.start + 33.0), "error in x / mm", text_anchor="end", **italic)
    turn = f"rotate(-90 {across.start - 40.0:.1f} {up.end + 90.0:.1f})"
    symbols.words(picture, (across.start - 40.0, up.end + 90.0), "error in y / mm", transform=turn, **italic)


def _draw_rings(picture: Element, across: Axis, up: Axis) -> None:
    step = round_step(across.high / 3.0)
    for number in range(1, math.floor(across.high / step + 1e-9) + 1):
        radius = across.at(number * step) - across.at(0.0)
        ring = {"cx": across.at(0.0), "cy": up.at(0.0), "r": radius}
        add(picture, "circle", {**ring, **look.stroke_attributes(look.Stroke(0.8, "1 3"), look.INK_SOFT)})


def _draw_points(picture: Element, run: RecordedRun, axes: tuple[Axis, Axis]) -> None:
    (across, up), signs = axes, signs_in(run)
    finds, errors = {find.number: find for find in run.finds}, errors_of(run)
    space = LabelSpace(Box(across.start, up.end, across.end, up.start).grown(-2))
    places = {number: (across.at(error.x), up.at(error.y)) for number, error in errors.items()}
    origin = (across.at(0.0), up.at(0.0))
    for place in places.values():
        space.add_box(box_round(place, 12, 12))
        space.add_line(_between(origin, place))
    for number, place in places.items():
        sign, error = signs[finds[number].kind], errors[number]
        group = add(picture, "g", {"class": "thing"})
        said = f"find {number}: {millimetres(error.x)} mm in x, {millimetres(error.y)} mm in y"
        add(group, "title", text=f"{said}, {millimetres(error.distance)} mm off")
        symbols.line(group, origin, place, look.Stroke(0.9))
        symbols.found(group, place, sign.tint)
    for number, place in places.items():
        text, sign = f"{signs[finds[number].kind].text}{number}", signs[finds[number].kind]
        box = space.place(place, 4.0, (symbols.tag_width(text), symbols.TAG_HEIGHT))
        symbols.line(picture, place, box.middle, look.Stroke(0.7))
        symbols.tag(picture, box.middle, text, sign.tint)


def _between(a: XY, b: XY) -> Sequence[XY]:
    return [(a[0] + (b[0] - a[0]) * step / 40.0, a[1] + (b[1] - a[1]) * step / 40.0) for step in range(41)]
