"""The signs on the plan, each at a place in the picture; the legend draws the same ones."""

import math
from xml.etree.ElementTree import Element

from rover.events import Ellipse
from rover.geometry import XY
from rover.report.look import INK, INK_SOFT, PAPER, Stroke, Tint, stroke_attributes
from rover.report.markup import add

HAIR = Stroke(0.9)


def line(parent: Element, a: XY, b: XY, stroke: Stroke, colour: str = INK) -> None:
    """Draw a straight line."""
    ends = {"x1": a[0], "y1": a[1], "x2": b[0], "y2": b[1]}
    add(parent, "line", {**ends, **stroke_attributes(stroke, colour)})


def polyline(parent: Element, points: list[XY], stroke: Stroke, colour: str = INK) -> None:
    """Draw a line through points."""
    add(parent, "polyline", {"points": _joined(points), **stroke_attributes(stroke, colour)})


def polygon(parent: Element, points: list[XY], stroke: Stroke, colour: str = INK) -> None:
    """Draw a closed outline."""
    add(parent, "polygon", {"points": _joined(points), **stroke_attributes(stroke, colour)})


def _joined(points: list[XY]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def words(parent: Element, at: XY, text: str, **attributes: object) -> Element:
    """Write a text that the lines beneath it do not run into."""
    halo = {"stroke": PAPER, "stroke-width": 3, "paint-order": "stroke", "stroke-linejoin": "round"}
    place = {"x": at[0], "y": at[1], "font-size": 13, "fill": INK, **halo}
    return add(parent, "text", place | {key.replace("_", "-"): value for key, value in attributes.items()}, text)


def found(parent: Element, at: XY, tint: Tint) -> None:
    """Draw where an object was found."""
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 4, "fill": tint.fill, "stroke": INK, "stroke-width": 0.9})


def ellipse(parent: Element, at: XY, axes: Ellipse, drawn: tuple[float, str]) -> None:
    """Draw a 95 % ellipse at (scale, colour); the picture's y axis points down, so that its angle turns round."""
    scale, fill = drawn
    size = {"cx": at[0], "cy": at[1], "rx": axes.major_m * scale, "ry": axes.minor_m * scale}
    turn = {"transform": f"rotate({-math.degrees(axes.angle_rad):.1f} {at[0]:.2f} {at[1]:.2f})"}
    outline = stroke_attributes(Stroke(1.1))
    add(parent, "ellipse", {**size, **turn, **outline, "fill": fill, "fill-opacity": 0.3})


def true_place(parent: Element, at: XY) -> None:
    """Draw where an object really stood: a small upright cross, light at its edge so that it shows on any tint."""
    x, y = at
    for stroke, colour in ((Stroke(3.0), PAPER), (Stroke(1.2), INK)):
        cross = f"M{x - 5:.1f} {y:.1f} h10 M{x:.1f} {y - 5:.1f} v10"
        add(parent, "path", {"d": cross, **stroke_attributes(stroke, colour)})


def set_down(parent: Element, at: XY, side: float, named: tuple[Tint, str]) -> None:
    """Draw where an object was set down: a square in its tint, with its letter where there is room for one."""
    tint, letter = named
    square = {"x": at[0] - side / 2, "y": at[1] - side / 2, "width": side, "height": side}
    add(parent, "rect", {**square, "fill": tint.fill, "stroke": INK, "stroke-width": 0.9})
    if side >= 11:
        place = {"x": at[0], "y": at[1] + side * 0.27, "font-size": side * 0.75, "text-anchor": "middle"}
        add(parent, "text", {**place, "fill": tint.letter}, letter)


def left_standing(parent: Element, at: XY, named: tuple[Tint, str]) -> None:
    """Draw an object that stands on the floor at the end: a disc in its tint, with its letter."""
    (x, y), (tint, letter) = at, named
    add(parent, "circle", {"cx": x, "cy": y, "r": 7.5, "fill": tint.fill, "stroke": INK, "stroke-width": 0.9})
    place = {"x": x, "y": y + 3.8, "font-size": 11, "text-anchor": "middle", "fill": tint.letter}
    add(parent, "text", place, letter)


def post(parent: Element, at: XY, radius: float) -> None:
    """Draw a round post that no map has, of a radius in picture units: hatched, as what is cut through."""
    x, y = at
    reach = max(radius, 3.0)
    add(parent, "circle", {"cx": x, "cy": y, "r": reach, "fill": PAPER, "stroke": INK, "stroke-width": 1.4})
    for shift in (-0.5, 0.0, 0.5):
        half = reach * math.sqrt(1.0 - shift * shift) / math.sqrt(2.0)
        across = reach * shift / math.sqrt(2.0)
        line(parent, (x - half + across, y + half + across), (x + half + across, y - half + across), Stroke(0.9))


def met(parent: Element, at: XY, spread: float, *, touched: bool) -> None:
    """Draw something met that is on no map: a barred ring, whole where it was touched, broken where it was only heard.

    ``spread``: the 95 % radius (picture units) of how well its place is known, drawn where it is larger than the ring.
    """
    x, y = at
    outline = Stroke(1.8) if touched else Stroke(1.4, "3 2.5")
    add(parent, "circle", {"cx": x, "cy": y, "r": 6, **stroke_attributes(outline), "fill": PAPER, "fill-opacity": 0.7})
    line(parent, (x - 4, y), (x + 4, y), outline)
    if spread > 7.0:
        add(parent, "circle", {"cx": x, "cy": y, "r": spread, **stroke_attributes(Stroke(0.7, "2 3"), INK_SOFT)})


def ended(parent: Element, at: XY) -> None:
    """Draw where the run ended: a ring round a dot."""
    x, y = at
    add(parent, "circle", {"cx": x, "cy": y, "r": 7, **stroke_attributes(Stroke(1.4))})
    add(parent, "circle", {"cx": x, "cy": y, "r": 2.6, "fill": INK})


def given_up(parent: Element, at: XY, tint: Tint) -> None:
    """Draw where an object was left: an open diamond with a bar through it."""
    x, y = at
    corners = [(x, y - 7), (x + 7, y), (x, y + 7), (x - 7, y)]
    add(parent, "polygon", {"points": _joined(corners), "fill": PAPER, "stroke": tint.fill, "stroke-width": 2.4})
    polygon(parent, [(x, y - 9), (x + 9, y), (x, y + 9), (x - 9, y)], HAIR)
    line(parent, (x - 8, y + 8), (x + 8, y - 8), Stroke(1.2))


def station(parent: Element, at: XY, heading: float) -> None:
    """Draw the start as a survey station: a triangle round a dot, with a line along the heading (rad)."""
    x, y = at
    line(parent, at, (x + 20 * math.cos(heading), y - 20 * math.sin(heading)), Stroke(1.4))
    corners = [(x, y - 9), (x + 8, y + 5), (x - 8, y + 5)]
    add(parent, "polygon", {"points": _joined(corners), "fill": PAPER, "stroke": INK, "stroke-width": 1.4})
    add(parent, "circle", {"cx": x, "cy": y, "r": 1.6, "fill": INK})


def slot(parent: Element, at: XY) -> None:
    """Draw a free slot of the tray."""
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 3, **stroke_attributes(Stroke(0.8), INK_SOFT)})


def lookout(parent: Element, at: XY) -> None:
    """Draw a place to look round from: a small circle round a dot."""
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 4.5, **stroke_attributes(Stroke(0.8))})
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 1.2, "fill": INK})


def named_place(parent: Element, at: XY, heading: float | None) -> None:
    """Draw a place that has a name: a small square, with a line along its heading (rad) where it has one."""
    x, y = at
    if heading is not None:
        line(parent, at, (x + 16 * math.cos(heading), y - 16 * math.sin(heading)), Stroke(1.2))
    square = {"x": x - 4, "y": y - 4, "width": 8, "height": 8}
    add(parent, "rect", {**square, "fill": PAPER, "stroke": INK, "stroke-width": 1.2})


def marker(parent: Element, at: XY) -> None:
    """Draw the plate at the tray: two halves, dark and light."""
    x, y = at
    add(parent, "rect", {"x": x - 7, "y": y - 4, "width": 7, "height": 8, "fill": INK})
    half = {"x": x, "y": y - 4, "width": 7, "height": 8}
    add(parent, "rect", {**half, "fill": PAPER, "stroke": INK, "stroke-width": 0.9})


def gate(parent: Element, at: XY, heading: float) -> None:
    """Draw the gate before the tray: a bar across, and the way in along the heading (rad)."""
    c, s = math.cos(heading), -math.sin(heading)

    def ahead(along: float, across: float) -> XY:
        return at[0] + along * c - across * s, at[1] + along * s + across * c

    line(parent, ahead(0, -10), ahead(0, 10), Stroke(2.2))
    line(parent, at, ahead(24, 0), Stroke(1.6))
    polyline(parent, [ahead(16, -6), ahead(24, 0), ahead(16, 6)], Stroke(1.6))


def tag(parent: Element, middle: XY, text: str, tint: Tint, *, marked: bool = False) -> None:
    """Draw a label box in the tint of its object; one that is marked has a second frame."""
    width = tag_width(text)
    if marked:
        around = {"x": middle[0] - width / 2 - 3, "y": middle[1] - TAG_HEIGHT / 2 - 3, "width": width + 6}
        add(parent, "rect", {**around, "height": TAG_HEIGHT + 6, **stroke_attributes(Stroke(2.0))})
    box = {"x": middle[0] - width / 2, "y": middle[1] - TAG_HEIGHT / 2, "width": width, "height": TAG_HEIGHT}
    add(parent, "rect", {**box, "fill": tint.fill, "stroke": INK, "stroke-width": 0.7})
    place = {"x": middle[0], "y": middle[1] + 4.2, "font-size": 12, "text-anchor": "middle", "fill": tint.letter}
    add(parent, "text", place, text)


TAG_HEIGHT = 15.0


def tag_width(text: str) -> float:
    """Return the width of the label box that `tag` draws."""
    return 8.0 + 7.5 * len(text)


def axes(parent: Element, at: XY) -> None:
    """Draw the directions of the field's axes, x to the right and y up."""
    x, y = at
    polyline(parent, [(x - 4, y - 28), (x, y - 36), (x + 4, y - 28)], Stroke(1.2))
    polyline(parent, [(x, y - 36), (x, y), (x + 36, y)], Stroke(1.2))
    polyline(parent, [(x + 28, y - 4), (x + 36, y), (x + 28, y + 4)], Stroke(1.2))
    words(parent, (x + 8, y - 26), "y", font_style="italic")
    words(parent, (x + 41, y + 4), "x", font_style="italic")


def compass(parent: Element, at: XY, north: float) -> None:
    """Draw a needle, half of it dark, to the north (rad, counter-clockwise from the x axis)."""
    x, y = at
    turned = add(parent, "g", {"transform": f"rotate({90.0 - math.degrees(north):.1f} {x:.1f} {y:.1f})"})
    line(turned, (x, y + 20), (x, y - 14), Stroke(1.2))
    add(turned, "polygon", {"points": _joined([(x, y - 20), (x, y + 4), (x - 6, y + 8)]), "fill": INK})
    polygon(turned, [(x, y - 20), (x, y + 4), (x + 6, y + 8)], HAIR)
    letter = x + 29 * math.cos(north), y - 29 * math.sin(north) + 4.5
    words(parent, letter, "N", text_anchor="middle")


def scale_bar(parent: Element, at: XY, length: float, scale: float) -> None:
    """Draw a bar of ``length`` m, its halves dark and light."""
    (x, y), half = at, length * scale / 2
    add(parent, "rect", {"x": x, "y": y, "width": half, "height": 6, "fill": INK})
    add(parent, "rect", {"x": x + half, "y": y, "width": half, "height": 6, **stroke_attributes(HAIR)})
    words(parent, (x, y - 5), "0", text_anchor="middle")
    words(parent, (x + half, y - 5), f"{length / 2:g}", text_anchor="middle")
    words(parent, (x + 2 * half, y - 5), f"{length:g} m", text_anchor="middle")
