"""A behaviour as a picture: SVG that needs nothing else, for a page or a file."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

from rover.behaviour.model import BehaviourGraph
from rover.errors import one_line
from rover.geometry import XY
from rover.report import look, symbols
from rover.report.look import Stroke
from rover.report.markup import add
from rover.report.state_cards import ALWAYS, LANE, LETTERS, LINE, TITLE, Card, Lane, Panel, panel_of, row_places

CARD = 430.0
HEADING, MARGIN, BETWEEN = 44.0, 20.0, 34.0
TIP = 8.0
LINE_OUT = Stroke(1.1)
FINAL = Stroke(2.6)
EDGES = {ALWAYS: Stroke(1.0, "7 4"), "does": Stroke(1.2), "graph": Stroke(1.2), "done": FINAL, "failed": FINAL}

# `active` is for whoever shows where the behaviour is: on a state's group, and on an exit's.
STYLE = """
.behaviour-graph { font-family: serif; font-size: 13px }
.behaviour-graph .state.active > rect { fill: #f3dfae; stroke-width: 3 }
.behaviour-graph .exit.active text { font-weight: bold }
"""


def behaviour_svg(graph: BehaviourGraph, columns: int = 2) -> Element:
    """Return the picture of a behaviour: a panel for each of its graphs, in so many columns.

    Each state is a group of class ``state`` whose ``data-state`` is its path (``pick_up/approach``), each exit in it a
    group of class ``exit`` whose ``data-exit`` is the exit's ``number``. With the class ``active`` beside it, either
    stands out.
    """
    panels = [panel_of(part, part.path or graph.title) for part in graph.top.graphs()]
    placed, width, height = _arranged(panels, columns)
    picture = Element("svg", {"viewBox": f"0 0 {width:.0f} {height:.0f}", "class": "behaviour-graph", "role": "img"})
    picture.set("xmlns", "http://www.w3.org/2000/svg")
    picture.set("aria-label", f"Graph of the behaviour {graph.title}")
    add(picture, "style", text=STYLE)
    add(picture, "rect", {"width": width, "height": height, "fill": look.PAPER})
    for panel, x, y in placed:
        group = add(picture, "g", {"transform": f"translate({x:.1f} {y:.1f})"})
        _draw_panel(group, panel)
    return picture


def write_behaviour(graph: BehaviourGraph, target: Path) -> Path:
    """Write the picture to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    target.write_text(tostring(behaviour_svg(graph), encoding="unicode") + "\n", encoding="utf-8")
    return target


def _arranged(panels: Sequence[Panel], columns: int) -> tuple[list[tuple[Panel, float, float]], float, float]:
    """Return where each panel stands, in the column that is shortest so far, and width and height of them all."""
    count = min(columns, len(panels))
    bottoms = [MARGIN] * count
    members: list[list[tuple[Panel, float]]] = [[] for _ in range(count)]
    for panel in panels:
        shortest = bottoms.index(min(bottoms))
        members[shortest].append((panel, bottoms[shortest] + HEADING))
        bottoms[shortest] += HEADING + panel.height + BETWEEN
    placed, x = [], MARGIN
    for column in members:
        x += max(_breadth(panel.up) for panel, _ in column)
        placed += [(panel, x, top) for panel, top in column]
        x += CARD + max(_breadth(panel.down) for panel, _ in column) + BETWEEN
    return placed, x - BETWEEN + MARGIN, max(bottoms) - BETWEEN + MARGIN


def _breadth(lanes: Iterable[Lane]) -> float:
    return LANE * (2.0 + max((lane.place for lane in lanes), default=-1.0))


def _draw_panel(group: Element, panel: Panel) -> None:
    symbols.words(group, (0.0, -16.0), panel.title, font_size="19")
    for lane in panel.down:
        _draw_lane(group, lane, CARD, 1.0)
    for lane in panel.up:
        _draw_lane(group, lane, 0.0, -1.0)
    for card, top in panel.cards:
        _draw_card(group, card, top)
        if card.path == panel.start:
            _draw_start(group, (CARD - 20.0, top))


def _draw_start(group: Element, at: XY) -> None:
    x, y = at
    add(group, "circle", {"cx": x, "cy": y - 13.0, "r": 4.0, "fill": look.INK})
    symbols.line(group, (x, y - 13.0), (x, y - 6.0), LINE_OUT)
    _draw_tip(group, at, (0.0, 1.0))


def _draw_lane(group: Element, lane: Lane, edge: float, side: float) -> None:
    """Draw the lines of a lane: each out of its row, along the lane, and together into the card."""
    x = edge + side * LANE * (1.5 + lane.place)
    ends = (min(*lane.leaves, lane.arrives), max(*lane.leaves, lane.arrives))
    across = [*((y, edge) for y in lane.leaves), (lane.arrives, edge + side * TIP)]
    for y, from_x in across:
        symbols.line(group, (from_x, y), (x, y), LINE_OUT)
    symbols.line(group, (x, ends[0]), (x, ends[1]), LINE_OUT)
    _draw_tip(group, (edge, lane.arrives), (-side, 0.0))


def _draw_tip(group: Element, at: XY, way: XY) -> None:
    """Draw the tip of a line that comes to a place on its way (a unit vector)."""
    (x, y), (dx, dy) = at, way
    back = x - TIP * dx, y - TIP * dy
    corners = [at, (back[0] - 4.0 * dy, back[1] + 4.0 * dx), (back[0] + 4.0 * dy, back[1] - 4.0 * dx)]
    add(group, "polygon", {"points": " ".join(f"{a:.1f},{b:.1f}" for a, b in corners), "fill": look.INK})


def _draw_card(group: Element, card: Card, top: float) -> None:
    state = add(group, "g", {"class": "state", "data-state": card.path} if card.path else {})
    box = {"x": 0.0, "y": top, "width": CARD, "height": card.height, "rx": 3.0}
    add(state, "rect", {**box, **look.stroke_attributes(EDGES[card.kind]), "fill": "#ffffff"})
    symbols.words(state, (10.0, top + 17.0), one_line(card.title, LETTERS // 2), font_size="15", font_weight="bold")
    if card.kind in ("done", "failed"):
        at = (CARD - 10.0, top + 17.0)
        symbols.words(state, at, f"the end: {card.kind}", text_anchor="end", font_style="italic", fill=look.INK_SOFT)
    for number, line in enumerate(card.about):
        at = (10.0, top + TITLE + LINE * number + 12.0)
        symbols.words(state, at, line, font_style="italic", fill=look.INK_SOFT)
    for row, y in row_places(card, top):
        one = add(state, "g", {"class": "exit", "data-exit": row.number} if row.number is not None else {})
        for number, line in enumerate(row.lines):
            symbols.words(one, (10.0, y + LINE * number + 4.0), line)
        goes = one_line(row.goes.rpartition("/")[2], LETTERS // 2)
        symbols.words(one, (CARD - 10.0, y + 4.0), goes, text_anchor="end", fill=look.INK_SOFT)
