"""How the report looks: a surveyor's plan on squared paper. Tints, strokes and letters, all in one place."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

PAPER = "#fbf9f3"
GRID_FINE = "#e7e4d8"
GRID_BOLD = "#d3cfbf"
INK = "#23262b"
INK_SOFT = "#6d6e6c"


class Tint(NamedTuple):
    """The colour of a kind of object, and the one of a letter on it."""

    fill: str
    letter: str


# Lightness 72, 48 and 25 (CIE L*): apart in grey print, and in hue also to a colour-blind eye.
TINTS = {
    "amber": Tint("#e6a632", INK),
    "teal": Tint("#1d8080", PAPER),
    "violet": Tint("#4a2c80", PAPER),
}


class Stroke(NamedTuple):
    """Weight (in the picture's units) and dash of a line."""

    width: float
    dash: str | None = None


WALL = Stroke(4.0)
UNMAPPED = Stroke(3.0, "1.5 2.5")
BOUNDARY = Stroke(1.2, "16 4 3 4")
UNSEEN = Stroke(0.8)
TRAY = Stroke(1.8)
TRUE_PATH = Stroke(0.8)
STATE_STROKES = (
    Stroke(1.0),
    Stroke(2.2),
    Stroke(1.3, "8 4"),
    Stroke(1.8, "2 3.5"),
    Stroke(2.6, "12 4 3 4"),
    Stroke(1.0, "4 3"),
    Stroke(3.4, "3 3"),
    Stroke(1.3, "14 4 2 4 2 4"),
)

STYLE = """
@page { size: A4; margin: 14mm }
html { background: #fbf9f3; color: #23262b }
body { max-width: 1080px; margin: 28px auto 60px; padding: 0 24px; font: 15px/1.45 serif }
h1 { font-size: 27px; font-weight: normal; margin: 0 0 2px }
h2 { font-size: 18px; font-weight: normal; margin: 34px 0 8px; border-bottom: 1px solid #23262b }
h3 { font-size: 15px; font-weight: normal; font-style: italic; margin: 12px 0 2px }
p.said { max-width: 780px; padding-left: 14px }
p { margin: 4px 0; overflow-wrap: anywhere }
p.outcome { font-size: 18px; font-style: italic; margin-bottom: 14px }
p.none { color: #6d6e6c; font-style: italic }
dl { display: flex; flex-wrap: wrap; gap: 6px 40px; margin: 0 0 16px }
dt { font-size: 13px; color: #6d6e6c }
dd { margin: 0; font-variant-numeric: tabular-nums lining-nums }
svg { display: block; width: 100%; height: auto; font-family: serif }
table { border-collapse: collapse; min-width: 45%; font-size: 14px }
table.many { font-size: 13px }
.rows { overflow-x: auto }
th { font-weight: normal; font-style: italic; text-align: left; vertical-align: bottom }
th, td { padding: 3px 9px; border-bottom: 1px solid #d3cfbf; overflow-wrap: break-word }
th { border-bottom: 1px solid #23262b; overflow-wrap: normal }
td { vertical-align: top; font-variant-numeric: tabular-nums lining-nums }
th.figure, td.figure { text-align: right; overflow-wrap: normal; white-space: nowrap }
th.figure { white-space: normal }
tr { break-inside: avoid }
pre { margin: 6px 0 16px; font-size: 12px; white-space: pre-wrap; overflow-wrap: anywhere }
code { font-size: 12px }
.letter { display: inline-block; width: 1.5em; text-align: center; border: 1px solid #23262b; font-size: 12px }
footer { margin-top: 36px; font-size: 13px; color: #6d6e6c; overflow-wrap: anywhere }
figure { margin: 0; overflow-x: auto }
.narrow { display: none }
.thing:hover { stroke-width: 2.6 }
.zoom { font-size: 13px; color: #6d6e6c; margin: 0 0 6px }
.zoom label { margin-right: 14px }
.picture:has(input[value="2"]:checked) svg { width: 200% }
.picture:has(input[value="4"]:checked) svg { width: 400% }
@media print {
  .zoom { display: none }
  .picture svg { width: 100% !important }
  .rows, figure { overflow: visible }
  h2, h3 { break-after: avoid }
  .picture { break-inside: avoid }
  table.many { font-size: 9px }
  table.many th, table.many td { padding: 1px 4px }
}
@media (max-width: 640px) {
  body { margin: 12px auto 40px; padding: 0 10px }
  h1 { font-size: 22px }
  dl { gap: 6px 24px }
  .wide { display: none }
  .narrow { display: block }
  table { width: 100% }
  td, th { overflow-wrap: anywhere }
  table.many, table.many tbody { display: block }
  table.many thead { display: none }
  table.many tr { display: flex; flex-wrap: wrap; gap: 0 12px; padding: 5px 0; border-bottom: 1px solid #23262b }
  table.many td, table.many td.figure { border: 0; padding: 1px 0; white-space: normal; text-align: left }
  table.many td:empty { display: none }
  table.many td::before { content: attr(data-head) "\u00a0"; font-style: italic; color: #6d6e6c }
  table.many td[data-head=""]::before { content: "" }
}
"""


def letters(kinds: Iterable[str]) -> dict[str, str]:
    """Return a different letter for each kind: the first of its name that is free, else the next of the alphabet."""
    chosen: dict[str, str] = {}
    for name in sorted(set(kinds)):
        taken = chosen.values()
        candidates = [letter for letter in name.upper() if letter.isalnum()] + list("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        chosen[name] = next((letter for letter in candidates if letter not in taken), str(len(chosen) + 1))
    return chosen


def state_strokes(states: Iterable[str]) -> dict[str, Stroke]:
    """Return a stroke for each outermost state, in order of appearance; after eight they begin again."""
    names = dict.fromkeys(outermost(state) for state in states)
    return {name: STATE_STROKES[position % len(STATE_STROKES)] for position, name in enumerate(names)}


def outermost(state: str) -> str:
    """Return the outermost state of a path such as ``pick_up/approach``."""
    return state.partition("/")[0]


def stroke_attributes(stroke: Stroke, colour: str = INK) -> Mapping[str, str]:
    """Return the SVG attributes of a line."""
    dash = {"stroke-dasharray": stroke.dash} if stroke.dash else {}
    return {"fill": "none", "stroke": colour, "stroke-width": f"{stroke.width:g}", "stroke-linejoin": "round", **dash}
