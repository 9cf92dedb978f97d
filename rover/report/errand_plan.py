"""The floor plan of an errand before it is run: what can be reached and seen, where tray, gate and lookouts are."""

from collections.abc import Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

from rover.feasibility.layout import Layout, body_at
from rover.feasibility.reachable import Mask, Reach
from rover.feasibility.views import outline_of_view
from rover.files.errand import Zone
from rover.geometry import XY
from rover.report import look, symbols
from rover.report.floor import DrawnField
from rover.report.legend import Entry, draw_strip, line_sign, strip_height, tray_sign, unseen_sign
from rover.report.markup import add
from rover.report.plan import draw_grid, draw_ground, draw_unseen, draw_wall_name
from rover.report.view import MARGIN_BOTTOM, WIDTH, View, ground_points, view_round

VIEWS_DRAWN = 12
"""With more lookouts than this their views are not outlined: what none of them sees is marked all the same."""
REACHED = 0.10
"""How opaque the shade of the ground in reach is."""
VIEW, BODY = look.Stroke(0.7, "2 3"), look.Stroke(1.0)


def write_errand_plan(layout: Layout, target: Path) -> Path:
    """Write the picture of an errand's floor to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    target.write_text(f"{tostring(draw_errand(layout), encoding='unicode')}\n", encoding="utf-8")
    return target


def draw_errand(layout: Layout) -> Element:
    """Return the plan of an errand's floor, with its legend beneath."""
    ground = _drawn(layout)
    marker = [layout.ground.marker] if layout.ground.marker else []
    view = view_round((*ground_points(ground), *marker, *((gate.x, gate.y) for gate in layout.gates.values())))
    entries = _entries(layout)
    height = view.bottom + MARGIN_BOTTOM + strip_height(entries)
    size = {"width": f"{WIDTH:g}", "height": f"{height:.0f}", "viewBox": f"0 0 {WIDTH:g} {height:.0f}"}
    picture = Element("svg", {"xmlns": "http://www.w3.org/2000/svg", **size, "font-family": "serif"})
    add(picture, "title", text=f"{layout.errand.errand}: the floor before {layout.robot.robot}")
    add(picture, "rect", {"width": WIDTH, "height": height, "fill": look.PAPER})
    _shade(picture, view, layout.reach, layout.reach.covered)
    draw_grid(picture, view)
    _draw_views(picture, view, layout)
    draw_ground(picture, view, ground)
    for name, ends in ground.walls.items():
        draw_wall_name(picture, view, name, ends)
    _draw_places(picture, view, layout)
    draw_strip(picture, view, entries, layout.errand.field.north)
    return picture


def _drawn(layout: Layout) -> DrawnField:
    field, ground = layout.errand.field, layout.ground
    return DrawnField(
        boundary=ground.boundary,
        walls=field.walls,
        tray=() if field.zone is None else _corners(field.zone),
        slots=tuple((slot.x, slot.y) for slot in ground.slots),
        start=layout.start,
    )


def _corners(zone: Zone) -> tuple[XY, ...]:
    x, y, across, up = zone.x, zone.y, 0.5 * zone.width, 0.5 * zone.depth
    return (x - across, y - up), (x + across, y - up), (x + across, y + up), (x - across, y + up)


def _shade(picture: Element, view: View, reach: Reach, covered: Mask) -> None:
    """Shade where the body can come to, and darker where its middle can be."""
    for mask in (covered, reach.reached):
        path = "".join(_rectangle(view, reach, row, span) for row in range(len(mask)) for span in _spans(mask, row))
        add(picture, "path", {"d": path, "fill": look.INK, "fill-opacity": REACHED, "shape-rendering": "crispEdges"})


def _spans(mask: Mask, row: int) -> list[tuple[int, int]]:
    """Return where each run of squares of a row begins, and where it has ended."""
    spans, begun = [], None
    for column, is_set in enumerate([*mask[row].tolist(), False]):
        if is_set and begun is None:
            begun = column
        elif not is_set and begun is not None:
            spans.append((begun, column))
            begun = None
    return spans


def _rectangle(view: View, reach: Reach, row: int, span: tuple[int, int]) -> str:
    """Return the path of a run of squares."""
    left, top = view.at(reach.west + span[0] * reach.square, reach.south + (row + 1) * reach.square)
    side = reach.square * view.scale
    width = (span[1] - span[0]) * side
    return f"M{left:.1f} {top:.1f}h{width:.1f}v{side:.1f}h{-width:.1f}z"


def _draw_views(picture: Element, view: View, layout: Layout) -> None:
    """Mark with bars what is seen from no lookout, and outline what is seen from each where they are few."""
    outlook = layout.outlook
    if outlook is None:
        return
    draw_unseen(picture, view, (outlook.side, outlook.unseen))
    for place in outlook.lookouts if len(outlook.lookouts) <= VIEWS_DRAWN else ():
        corners = [view.at(*corner) for corner in outline_of_view(layout.ground, place, outlook.look.farthest)]
        symbols.polygon(picture, corners, VIEW, look.INK_SOFT)


def _draw_places(picture: Element, view: View, layout: Layout) -> None:
    for place in _lookouts(layout):
        symbols.lookout(picture, view.at(*place))
    for name, named in layout.errand.field.places.items():
        x, y = view.at(named.x, named.y)
        symbols.named_place(picture, (x, y), named.heading)
        symbols.words(picture, (x + 9, y - 7), name, font_style="italic")
    if layout.ground.marker is not None:
        symbols.marker(picture, view.at(*layout.ground.marker))
    gate = next(iter(layout.gates.values()), None)
    bodies = [*body_at(layout, layout.start, loaded=False), *(body_at(layout, gate, loaded=True) if gate else ())]
    for corners in bodies:
        symbols.polygon(picture, [view.at(*corner) for corner in corners], BODY, look.INK_SOFT)
    if gate:
        symbols.gate(picture, view.at(gate.x, gate.y), gate.heading)
    symbols.station(picture, view.at(layout.start.x, layout.start.y), layout.start.heading)
    passage = layout.way_home
    if passage is not None and passage.width < 4.0 * layout.reach.need:
        at = view.at(passage.x, passage.y)
        symbols.words(picture, (at[0], at[1] + 20), f"{passage.width * 100:.0f} cm", text_anchor="middle")


def _lookouts(layout: Layout) -> Sequence[XY]:
    """Return the errand's lookouts, in reach or not; without any, those in reach of the grid."""
    return layout.errand.field.lookouts or (layout.outlook.lookouts if layout.outlook else ())


def _entries(layout: Layout) -> list[Entry]:
    """Return what this plan has: signs and their meaning."""
    entries: list[Entry] = [
        (lambda parent, at: _swatch(parent, at, 1), "in reach of the body"),
        (lambda parent, at: _swatch(parent, at, 2), "in reach of its middle"),
        (lambda parent, at: symbols.station(parent, at, 0.0), "start, and the body to scale"),
        (line_sign(look.WALL), "wall"),
        (line_sign(look.BOUNDARY), "boundary of the field"),
    ]
    if layout.ground.zone is not None:
        entries.append((tray_sign, "tray, slots"))
    if layout.gates:
        entries.append((lambda parent, at: symbols.gate(parent, (at[0] - 8, at[1]), 0.0), "gate of the first slot"))
    if layout.ground.marker is not None:
        entries.append((symbols.marker, "marker at the tray"))
    if layout.errand.field.places:
        entries.append((lambda parent, at: symbols.named_place(parent, at, None), "named place"))
    if _lookouts(layout):
        entries.append((symbols.lookout, "place to look round from"))
    if layout.outlook is not None:
        if 0 < len(layout.outlook.lookouts) <= VIEWS_DRAWN:
            entries.append((line_sign(VIEW, look.INK_SOFT), "what is seen from there"))
        entries.append((unseen_sign, "seen from none of them"))
    return entries


def _swatch(parent: Element, at: XY, layers: int) -> None:
    box = {"x": at[0] - 13, "y": at[1] - 8, "width": 26, "height": 16, "fill": look.INK, "fill-opacity": REACHED}
    for _ in range(layers):
        add(parent, "rect", box)
