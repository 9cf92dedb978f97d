"""When the robot was in which outermost state: a strip with one row a state, in the strokes of the plan's path."""

from itertools import groupby, pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.events import StateChange, Stop
from rover.record.run import RecordedRun
from rover.report import symbols
from rover.report.look import GRID_BOLD, GRID_FINE, INK, INK_SOFT, Stroke, outermost, state_strokes
from rover.report.markup import add
from rover.report.numbers import clock
from rover.report.view import WIDTH

LEFT, RIM, ROW = 204.0, 14.0, 22.0
LONGEST = 26
"""Letters of a state's name beside its row; on a narrow picture it stands above the row, which is higher there."""
STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 18000, 36000)


class Stay(NamedTuple):
    """A time spent in an outermost state, and the exit by which it ended, '' for the last."""

    state: str
    from_ns: int
    to_ns: int
    left_by: str = ""


def stays_of(run: RecordedRun) -> list[Stay]:
    """Return the stays in outermost states, in order; the last one lasts to the end of the record."""
    entered = [(at_ns, event) for at_ns, event in run.happenings if isinstance(event, StateChange)]
    firsts = [next(group) for _, group in groupby(entered, lambda item: outermost(item[1].entered))]
    ends = [*((at_ns, change.exit) for at_ns, change in firsts[1:]), (run.ended_ns, "")]
    return [
        Stay(outermost(change.entered), from_ns, to_ns, left_by)
        for (from_ns, change), (to_ns, left_by) in zip(firsts, ends, strict=bool(firsts))
    ]


class Strip(NamedTuple):
    """Where the times of a run lie in a picture, and how high a row is."""

    run: RecordedRun
    left: float
    right: float
    row: float

    def across(self, at_ns: int) -> float:
        """Return where a time lies."""
        run = self.run
        return self.left + (self.right - self.left) * (at_ns - run.started_ns) / max(run.ended_ns - run.started_ns, 1)

    def write_name(self, picture: Element, y: float, name: str) -> None:
        """Write the name of the row at ``y``."""
        short = name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}\u2026"
        if self.left < LEFT:
            symbols.words(picture, (self.left, y - 6.0), short)
        else:
            symbols.words(picture, (self.left - 10, y + 4.5), short, text_anchor="end")

    def draw_times(self, picture: Element, bottom: float) -> None:
        """Draw lines down to ``bottom`` at round times, these beneath, and a heavy line at each stop."""
        lasts_s = (self.run.ended_ns - self.run.started_ns) / 1e9
        most = (self.right - self.left) / 66.0
        step = next((step for step in STEPS_S if lasts_s / step <= most), STEPS_S[-1])
        for second in range(0, int(lasts_s) + 1, step):
            x = self.across(self.run.started_ns + second * 1_000_000_000)
            symbols.line(picture, (x, 0), (x, bottom), symbols.HAIR, GRID_BOLD)
            symbols.words(picture, (x, bottom + 15), f"{second // 60}:{second % 60:02d}", text_anchor="middle")
        italic = {"font_style": "italic", "fill": INK_SOFT}
        symbols.words(picture, (self.right, bottom + 30), "time in min:s", text_anchor="end", **italic)
        for happening in self.run.happenings:
            if isinstance(happening.event, Stop):
                x = self.across(happening.at_ns)
                stop = add(picture, "path", {"d": f"M{x:.1f} 0 V{bottom:.1f}", "stroke": INK, "stroke-width": 2.5})
                add(stop, "title", text=f"stopped: {happening.event.cause}")


def strip_for(run: RecordedRun, width: float) -> Strip:
    """Return the strip for a picture so wide."""
    return Strip(run, LEFT, width - RIM, ROW) if width >= WIDTH else Strip(run, RIM, width - RIM, 1.6 * ROW)


def draw_timeline(run: RecordedRun, width: float = WIDTH) -> Element:
    """Return the strip of states; its time runs in minutes and seconds from the start of the record."""
    strip, stays = strip_for(run, width), stays_of(run)
    strokes = state_strokes([*(sample.point.state for sample in run.track), *(stay.state for stay in stays)])
    rows = {state: strip.row * (number + 0.7) for number, state in enumerate(strokes)}
    bottom = strip.row * len(rows) + 6.0
    picture = Element("svg", {"viewBox": f"0 0 {width:g} {bottom + 38:.0f}", "role": "img", "aria-label": "Timeline"})
    strip.draw_times(picture, bottom)
    for y in rows.values():
        symbols.line(picture, (strip.left, y), (strip.right, y), symbols.HAIR, GRID_FINE)
    for stay in stays:
        _draw_stay(picture, strip, stay, (rows[stay.state], strokes[stay.state]))
    for before, after in pairwise(stays):
        x = strip.across(after.from_ns)
        symbols.line(picture, (x, rows[before.state]), (x, rows[after.state]), symbols.HAIR, INK_SOFT)
    for state, y in rows.items():
        strip.write_name(picture, y, state or "(no state)")
    return picture


def _draw_stay(picture: Element, strip: Strip, stay: Stay, row: tuple[float, Stroke]) -> None:
    (y, stroke), run = row, strip.run
    group = add(picture, "g", {"class": "thing"})
    from_to = f"{clock(stay.from_ns - run.started_ns)} to {clock(stay.to_ns - run.started_ns)} min:s"
    add(group, "title", text=f"{stay.state}: {from_to}; {stay.left_by}" if stay.left_by else f"{stay.state}: {from_to}")
    symbols.line(group, (strip.across(stay.from_ns), y), (strip.across(stay.to_ns), y), stroke)
