"""The strip beneath the plan: the axes, north, a scale bar, and what each sign and line means."""

import textwrap
from collections import Counter
from collections.abc import Callable, Sequence
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.events import Delivery, Ellipse, GivenUp
from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report import look, symbols
from rover.report.figures import left_on_the_floor, overlooked, placed, signs_in, things_met, verdicts_of
from rover.report.floor import DrawnField
from rover.report.markup import add
from rover.report.view import MARGIN_BOTTOM, WIDTH, View

Sign = Callable[[Element, XY], None]
Entry = tuple[Sign, str]
"""A sign, and what it means."""

HEAD = 84.0
"""Height of axes and scale bar; on a wide picture they stand beside the entries, on a narrow one above them."""


class Columns(NamedTuple):
    """Where the entries stand: left edges, height of a row, letters in a line, lines in a row."""

    lefts: tuple[float, ...]
    row: float
    longest: int
    lines: int


WIDE_COLUMNS = Columns((250.0, 500.0, 750.0), 23.0, 28, 1)
NARROW_COLUMNS = Columns((6.0, 196.0), 31.0, 20, 2)


def _columns(width: float) -> Columns:
    return WIDE_COLUMNS if width >= WIDTH else NARROW_COLUMNS


def strip_height(entries: Sequence[Entry], width: float = WIDTH) -> float:
    """Return the height that the strip needs in a picture of this width."""
    columns = _columns(width)
    rows = _rows(len(entries), columns) * columns.row
    return max(rows, HEAD + 26.0) + 16.0 if width >= WIDTH else HEAD + 22.0 + rows


def draw_strip(picture: Element, view: View, entries: Sequence[Entry], north: float | None) -> None:
    """Draw the strip beneath the plan; with a compass arrow where it is known where north lies."""
    columns, top = _columns(view.width), view.bottom + MARGIN_BOTTOM + 14.0
    group = add(picture, "g")
    _draw_scale(group, top, view, north)
    if view.width < WIDTH:
        top += HEAD + 6.0
    rows = _rows(len(entries), columns)
    for number, (sign, text) in enumerate(entries):
        x, y = columns.lefts[number // rows], top + columns.row * (number % rows)
        sign(group, (x + 17.0, y))
        lines = textwrap.wrap(text, columns.longest, max_lines=columns.lines, placeholder="\u2026") or [""]
        for at, words in enumerate(lines):
            symbols.words(group, (x + 44.0, y + 4.5 + 14.0 * at - 7.0 * (len(lines) - 1)), words)


def _draw_scale(group: Element, top: float, view: View, north: float | None) -> None:
    lengths = [1.0 * 10**power * step for power in range(-2, 5) for step in (1, 2, 5)]
    longest = max(length for length in lengths if length * view.scale <= 180.0)
    symbols.axes(group, (14.0, top + 30.0))
    if north is not None:
        symbols.compass(group, (116.0, top + 10.0), north)
    bar = (14.0, top + 62.0) if view.width >= WIDTH else (168.0, top + 20.0)
    symbols.scale_bar(group, bar, longest, view.scale)


def _rows(entries: int, columns: Columns) -> int:
    return -(-entries // len(columns.lefts))


def run_entries(ground: DrawnField, run: RecordedRun) -> list[Entry]:
    """Return what the plan of a run has: signs and their meaning."""
    tags = [(tag_sign(sign.text, sign.tint), kind) for kind, sign in signs_in(run).items()]
    strokes = look.state_strokes(sample.point.state for sample in run.track)
    points = Counter(look.outermost(sample.point.state) for sample in run.track)
    paths = [
        (line_sign(stroke), f"path in {state}" if state else "path")
        for state, stroke in strokes.items()
        if points[state] > 1
    ]
    return [*tags, *_run_signs(run), *ground_entries(ground), *paths]


def _run_signs(run: RecordedRun) -> list[Entry]:
    """Return the signs of what happened, those that there are."""
    met = things_met(run)
    signs: list[tuple[object, Sign, str]] = [
        (run.finds, _found, "found, and its 95 % ellipse"),
        ([one for one in verdicts_of(run).values() if one.is_beyond], _beyond, "beyond the allowance"),
        (placed(run, Delivery), lambda parent, at: symbols.set_down(parent, at, 13.0, (BLANK, "")), "set down"),
        (placed(run, GivenUp), lambda parent, at: symbols.given_up(parent, at, BLANK), "given up, left here"),
        (left_on_the_floor(run), _left_standing, "on the floor at the end"),
        ([one for one in met if one.touched], _touched, "met, touched; on no map"),
        ([one for one in met if not one.touched], _heard, "met, only heard; on no map"),
        (overlooked(run)[1], unseen_sign, "never looked at"),
        (run.true_finds, symbols.true_place, "true place"),
        (run.true_track, line_sign(look.TRUE_PATH, look.INK_SOFT), "true path"),
        (run.track, symbols.ended, "where the run ended"),
    ]
    return [(sign, text) for there, sign, text in signs if there]


def ground_entries(ground: DrawnField) -> list[Entry]:
    """Return the signs of what stands there, those that there are."""
    signs: list[tuple[object, Sign, str]] = [
        (ground.start, lambda parent, at: symbols.station(parent, at, 0.0), "start, with heading"),
        (ground.tray, tray_sign, "tray, free slots"),
        (ground.marker, symbols.marker, "marker at the tray"),
        (ground.places, lambda parent, at: symbols.named_place(parent, at, None), "named place"),
        (ground.walls, line_sign(look.WALL), "wall"),
        (ground.boundary, line_sign(look.BOUNDARY), "boundary of the field"),
        (ground.posts, lambda parent, at: symbols.post(parent, at, 7.0), "post, not on the map"),
        (ground.unmapped_walls, line_sign(look.UNMAPPED), "wall, not on the map"),
    ]
    return [(sign, text) for there, sign, text in signs if there]


def tag_sign(letter: str, tint: look.Tint) -> Sign:
    """Return the sign of a kind."""
    return lambda parent, at: symbols.tag(parent, at, letter, tint)


def line_sign(stroke: look.Stroke, colour: str = look.INK) -> Sign:
    """Return the sign of a line."""
    return lambda parent, at: symbols.line(parent, (at[0] - 17, at[1]), (at[0] + 17, at[1]), stroke, colour)


def _found(parent: Element, at: XY) -> None:
    symbols.ellipse(parent, at, Ellipse(14.0, 8.0, 0.4), (1.0, look.INK_SOFT))
    symbols.found(parent, at, BLANK)


def _beyond(parent: Element, at: XY) -> None:
    symbols.tag(parent, at, " ", BLANK, marked=True)


def _left_standing(parent: Element, at: XY) -> None:
    symbols.left_standing(parent, at, (BLANK, ""))


def _touched(parent: Element, at: XY) -> None:
    symbols.met(parent, at, 0.0, touched=True)


def _heard(parent: Element, at: XY) -> None:
    symbols.met(parent, at, 0.0, touched=False)


def tray_sign(parent: Element, at: XY) -> None:
    """Draw a small tray with two slots."""
    x, y = at
    symbols.polygon(parent, [(x - 13, y - 8), (x + 13, y - 8), (x + 13, y + 8), (x - 13, y + 8)], look.TRAY)
    for across in (-6, 6):
        symbols.slot(parent, (x + across, y))


def unseen_sign(parent: Element, at: XY) -> None:
    """Draw a piece of ground that was not looked at."""
    for up in (-6, 0, 6):
        symbols.line(parent, (at[0] - 13, at[1] + up), (at[0] + 13, at[1] + up), look.UNSEEN, look.INK_SOFT)


BLANK = look.Tint(look.PAPER, look.INK)
