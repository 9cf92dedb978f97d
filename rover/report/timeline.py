"""When the robot was in which outermost state: a strip with one row a state, in the strokes of the plan's path."""

from itertools import groupby, pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.events import StateChange, Stop
from rover.record.run import RecordedRun
from rover.report import symbols
from rover.report.look import GRID_BOLD, GRID_FINE, INK_SOFT, outermost, state_strokes
from rover.report.markup import add
from rover.report.view import WIDTH

LEFT, RIGHT, ROW = 190.0, WIDTH - 14.0, 22.0
LONGEST = 26
STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 18000, 36000)


class Stay(NamedTuple):
    """A time spent in an outermost state."""

    state: str
    from_ns: int
    to_ns: int


def stays_of(run: RecordedRun) -> list[Stay]:
    """Return the stays in outermost states, in order; the last one lasts to the end of the record."""
    entered = [(at_ns, event.entered) for at_ns, event in run.happenings if isinstance(event, StateChange)]
    firsts = [next(group) for _, group in groupby(entered, lambda item: outermost(item[1]))]
    ends = [*firsts, (run.ended_ns, "")]
    return [Stay(outermost(state), from_ns, to_ns) for (from_ns, state), (to_ns, _) in pairwise(ends)]


def draw_timeline(run: RecordedRun) -> Element:
    """Return the strip; its time runs in minutes and seconds from the start of the record."""
    stays = stays_of(run)
    strokes = state_strokes([*(sample.point.state for sample in run.track), *(stay.state for stay in stays)])
    rows = {state: ROW * (number + 0.7) for number, state in enumerate(strokes)}
    bottom = ROW * len(rows) + 6.0
    picture = Element("svg", {"viewBox": f"0 0 {WIDTH:g} {bottom + 26:.0f}", "role": "img", "aria-label": "Timeline"})
    _draw_times(picture, run, bottom)
    for state, y in rows.items():
        symbols.line(picture, (LEFT, y), (RIGHT, y), symbols.HAIR, GRID_FINE)
        short = state if len(state) <= LONGEST else f"{state[: LONGEST - 1]}…"
        symbols.words(picture, (LEFT - 10, y + 4.5), short or "(no state)", text_anchor="end")
    for stay in stays:
        a, b = ((_across(run, at_ns), rows[stay.state]) for at_ns in (stay.from_ns, stay.to_ns))
        symbols.line(picture, a, b, strokes[stay.state])
    for before, after in pairwise(stays):
        x = _across(run, after.from_ns)
        symbols.line(picture, (x, rows[before.state]), (x, rows[after.state]), symbols.HAIR, INK_SOFT)
    return picture


def _across(run: RecordedRun, at_ns: int) -> float:
    return LEFT + (RIGHT - LEFT) * (at_ns - run.started_ns) / max(run.ended_ns - run.started_ns, 1)


def _draw_times(picture: Element, run: RecordedRun, bottom: float) -> None:
    lasts_s = (run.ended_ns - run.started_ns) / 1e9
    step = next((step for step in STEPS_S if lasts_s / step <= 12), STEPS_S[-1])
    for second in range(0, int(lasts_s) + 1, step):
        x = _across(run, run.started_ns + second * 1_000_000_000)
        symbols.line(picture, (x, 0), (x, bottom), symbols.HAIR, GRID_BOLD)
        symbols.words(picture, (x, bottom + 15), f"{second // 60}:{second % 60:02d}", text_anchor="middle")
    for happening in run.happenings:
        if isinstance(happening.event, Stop):
            x = _across(run, happening.at_ns)
            add(picture, "path", {"d": f"M{x:.1f} 0 V{bottom:.1f}", "stroke": "currentColor", "stroke-width": 2.5})
