"""The strip beneath the plan: north, scale bar, and what each sign and line means."""

from collections.abc import Callable, Sequence
from xml.etree.ElementTree import Element

from rover.events import Ellipse
from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.report import look, symbols
from rover.report.figures import kinds_of
from rover.report.markup import add
from rover.report.view import MARGIN_BOTTOM, View

Sign = Callable[[Element, XY], None]
Entry = tuple[Sign, str]
"""A sign, and what it means."""

COLUMNS = (250.0, 500.0, 750.0)
ROW = 23.0
LONGEST = 30


def strip_height(entries: Sequence[Entry]) -> float:
    """Return the height that the strip needs."""
    return max(_rows(len(entries)) * ROW, 110.0) + 16.0


def draw_strip(picture: Element, view: View, entries: Sequence[Entry]) -> None:
    """Draw the strip beneath the plan."""
    top = view.bottom + MARGIN_BOTTOM + 14.0
    group = add(picture, "g")
    symbols.north(group, (30.0, top + 24.0))
    lengths = [1.0 * 10**power * step for power in range(-2, 5) for step in (1, 2, 5)]
    longest = max(length for length in lengths if length * view.scale <= 180.0)
    symbols.scale_bar(group, (12.0, top + 84.0), longest, view.scale)
    rows = _rows(len(entries))
    for number, (sign, text) in enumerate(entries):
        x, y = COLUMNS[number // rows], top + ROW * (number % rows)
        sign(group, (x + 17.0, y))
        symbols.words(group, (x + 44.0, y + 4.5), text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…")


def _rows(entries: int) -> int:
    return -(-entries // len(COLUMNS))


def run_entries(run: RecordedRun) -> list[Entry]:
    """Return what the plan of a run has: signs and their meaning."""
    kinds, tint_of, letter_of = kinds_of(run), look.tints(kinds_of(run)), look.letters(kinds_of(run))
    tags = [(_tag(letter_of[kind], tint_of[kind]), kind) for kind in kinds]
    strokes = look.state_strokes(sample.point.state for sample in run.track)
    paths = [(line_sign(stroke), f"path in {state}" if state else "path") for state, stroke in strokes.items()]
    return [*tags, *_SIGNS, *(_TRUE_SIGNS if run.true_track or run.true_finds else ()), *paths]


def _tag(letter: str, tint: look.Tint) -> Sign:
    return lambda parent, at: symbols.tag(parent, at, letter, tint)


def line_sign(stroke: look.Stroke, colour: str = look.INK) -> Sign:
    """Return the sign of a line."""
    return lambda parent, at: symbols.line(parent, (at[0] - 17, at[1]), (at[0] + 17, at[1]), stroke, colour)


def _found(parent: Element, at: XY) -> None:
    symbols.ellipse(parent, at, Ellipse(14.0, 8.0, 0.4), (1.0, look.INK_SOFT))
    symbols.found(parent, at, BLANK)


def tray_sign(parent: Element, at: XY) -> None:
    """Draw a small tray with two slots."""
    x, y = at
    symbols.polygon(parent, [(x - 13, y - 8), (x + 13, y - 8), (x + 13, y + 8), (x - 13, y + 8)], look.TRAY)
    for across in (-6, 6):
        symbols.slot(parent, (x + across, y))


BLANK = look.Tint(look.PAPER, look.INK)
_SIGNS: tuple[tuple[Sign, str], ...] = (
    (_found, "found here, 95 % ellipse"),
    (lambda parent, at: symbols.set_down(parent, at, 13.0, (BLANK, "")), "set down"),
    (lambda parent, at: symbols.given_up(parent, at, BLANK), "given up, left here"),
    (tray_sign, "tray, free slots"),
    (lambda parent, at: symbols.station(parent, at, 0.0), "start, with heading"),
    (line_sign(look.WALL), "wall"),
    (line_sign(look.BOUNDARY), "boundary of the field"),
)
_TRUE_SIGNS: tuple[tuple[Sign, str], ...] = (
    (symbols.true_place, "true place"),
    (line_sign(look.TRUE_PATH, look.INK_SOFT), "true path"),
)
