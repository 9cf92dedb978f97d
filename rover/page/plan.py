"""The plan as the page draws it: what stands still, drawn here as in the report; the browser adds what moves."""

from collections.abc import Mapping
from typing import Any
from xml.etree.ElementTree import Element, tostring

from rover.geometry import XY
from rover.report import look, symbols
from rover.report.figures import lids_of
from rover.report.floor import DrawnField, read_ground
from rover.report.labels import Box, LabelSpace
from rover.report.legend import Entry, draw_strip, ground_entries, line_sign, strip_height, tag_sign
from rover.report.markup import add
from rover.report.plan import Sheet, draw_grid, draw_ground, draw_names
from rover.report.table import Letter
from rover.report.tints import signs_of
from rover.report.view import MARGIN_BOTTOM, MARGIN_TOP, NARROW, WIDTH, View, ground_points, view_round

ELLIPSE = look.Stroke(1.3, "4 3")


def drawn_plan(sheet: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return the plan of a sheet, None where it has no field.

    Returns:
        ``wide`` and ``narrow``: the picture, and how metres become its units; and for both, tints, letters and strokes.

    Raises:
        RecordError: the sheet's field or its kinds are not what a record's header has.
    """
    if "field" not in sheet:
        return None
    ground, signs = read_ground(sheet), signs_of(lids_of(sheet))
    strokes = look.state_strokes(str(state) for state in sheet.get("states", ()))
    entries = [*_entries(signs), *ground_entries(ground), *_paths(strokes)]
    return {
        "wide": _drawn(ground, entries, WIDTH),
        "narrow": _drawn(ground, entries, NARROW),
        "tints": {kind: list(sign.tint) for kind, sign in signs.items()},
        "letters": {kind: sign.text for kind, sign in signs.items()},
        "strokes": {state: [stroke.width, stroke.dash or "none"] for state, stroke in strokes.items()},
    }


def _drawn(ground: DrawnField, entries: list[Entry], width: float) -> dict[str, Any]:
    view = view_round(ground_points(ground), width)
    height = view.bottom + MARGIN_BOTTOM + strip_height(entries, width)
    picture = Element("svg", {"viewBox": f"0 0 {width:g} {height:.0f}", "role": "img", "aria-label": "Floor plan"})
    draw_grid(picture, view)
    draw_ground(picture, view, ground)
    space = LabelSpace(Box(view.left, MARGIN_TOP, view.right, view.bottom).grown(-2))
    draw_names(Sheet(picture, view, space), ground)
    _add_moving(picture, view)
    draw_strip(picture, view, entries, ground.north)
    place = {"west": view.west, "north": view.north, "scale": view.scale, "left": view.left, "top": MARGIN_TOP}
    return {"svg": tostring(picture, encoding="unicode"), **place}


def _add_moving(picture: Element, view: View) -> None:
    """Add the place of what moves: nothing of it is drawn beyond the plan's edge."""
    name = f"edge-{view.width:g}"
    edge = {"x": view.left, "y": MARGIN_TOP, "width": view.right - view.left, "height": view.bottom - MARGIN_TOP}
    add(add(picture, "clipPath", {"id": name}), "rect", edge)
    add(picture, "g", {"class": "moving", "clip-path": f"url(#{name})"})


def _entries(signs: Mapping[str, Letter]) -> list[Entry]:
    return [
        *((tag_sign(sign.text, sign.tint), kind) for kind, sign in signs.items()),
        (_robot, "robot, with its heading"),
        (_round, "95 % ellipse of the position"),
        (_chosen, "object gone for"),
        (_unsure, "seen, not yet sure"),
        (_barred, "put off"),
        (_crossed, "met, on no map"),
    ]


def _paths(strokes: Mapping[str, look.Stroke]) -> list[Entry]:
    return [(line_sign(stroke), f"path in {state}") for state, stroke in strokes.items()]


def _robot(parent: Element, at: XY) -> None:
    x, y = at
    symbols.polygon(parent, [(x - 9, y - 7), (x + 5, y - 7), (x + 5, y + 7), (x - 9, y + 7)], look.Stroke(1.8))
    symbols.line(parent, at, (x + 15, y), look.Stroke(1.8))


def _round(parent: Element, at: XY) -> None:
    add(parent, "ellipse", {"cx": at[0], "cy": at[1], "rx": 14, "ry": 8, **look.stroke_attributes(ELLIPSE)})


def _chosen(parent: Element, at: XY) -> None:
    for radius in (5, 9):
        add(parent, "circle", {"cx": at[0], "cy": at[1], "r": radius, **look.stroke_attributes(look.Stroke(1.4))})


def _unsure(parent: Element, at: XY) -> None:
    ring = {"rx": 11, "ry": 7, **look.stroke_attributes(look.Stroke(1.0, "2 2"))}
    add(parent, "ellipse", {"cx": at[0], "cy": at[1], **ring})
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 5, "fill": look.INK, "opacity": 0.3})


def _barred(parent: Element, at: XY) -> None:
    x, y = at
    add(parent, "circle", {"cx": x, "cy": y, "r": 6, **look.stroke_attributes(look.Stroke(1.0))})
    symbols.line(parent, (x - 8, y + 8), (x + 8, y - 8), look.Stroke(1.4))


def _crossed(parent: Element, at: XY) -> None:
    x, y = at
    symbols.line(parent, (x - 6, y - 6), (x + 6, y + 6), look.Stroke(2.2))
    symbols.line(parent, (x - 6, y + 6), (x + 6, y - 6), look.Stroke(2.2))
