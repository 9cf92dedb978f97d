"""How the devices were over a run, and what held it back, as a strip; and what they reported, in figures."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.events import Health, HealthChange, HoldBack
from rover.record.run import RecordedRun
from rover.record.series import DeviceSeries, RunSeries
from rover.report import look, symbols
from rover.report.markup import add
from rover.report.numbers import UNKNOWN, clock, with_minus
from rover.report.table import Cell, Table
from rover.report.timeline import strip_for
from rover.report.view import WIDTH

STROKES = {
    Health.OK: look.Stroke(1.0),
    Health.OVERDUE: look.Stroke(6.0, "3 2"),
    Health.DOUBTED: look.Stroke(6.0, "1 3"),
    Health.FAULTY: look.Stroke(8.0),
}
"""A device is told by thickness and dash, not by a colour."""
HELD_BACK = look.Stroke(4.0)
MOST_CAUSES = 8
"""So many causes of hold-backs have a row, those that took longest."""


class Span(NamedTuple):
    """From when until when (ns) something was so, and why."""

    from_ns: int
    to_ns: int
    health: Health | None
    why: str


def health_spans(run: RecordedRun) -> dict[str, list[Span]]:
    """Return how each device was, from its first report on."""
    open_ones: dict[str, tuple[int, HealthChange]] = {}
    spans: dict[str, list[Span]] = {}
    for at_ns, event in run.happenings:
        if isinstance(event, HealthChange):
            before = open_ones.get(event.device)
            if before is not None:
                spans[event.device].append(Span(before[0], at_ns, before[1].health, before[1].why))
            open_ones[event.device] = at_ns, event
            spans.setdefault(event.device, [])
    for device, (at_ns, event) in open_ones.items():
        spans[device].append(Span(at_ns, max(run.ended_ns, at_ns), event.health, event.why))
    return spans


def hold_back_spans(run: RecordedRun) -> dict[str, list[Span]]:
    """Return when motion was held back, by cause."""
    begun: dict[str, int] = {}
    spans: defaultdict[str, list[Span]] = defaultdict(list)
    for at_ns, event in run.happenings:
        if isinstance(event, HoldBack) and not event.ended:
            begun.setdefault(event.cause, at_ns)
        elif isinstance(event, HoldBack) and event.cause in begun:
            spans[event.cause].append(Span(begun.pop(event.cause), at_ns, None, event.cause))
    for cause, at_ns in begun.items():
        spans[cause].append(Span(at_ns, max(run.ended_ns, at_ns), None, cause))
    return dict(spans)


def draw_devices(run: RecordedRun, width: float = WIDTH) -> Element:
    """Return the strip of devices and hold-backs, over the same time as the states'."""
    strip, healths, held = strip_for(run, width), health_spans(run), hold_back_spans(run)
    causes = sorted(held, key=lambda cause: -total(held[cause]))[:MOST_CAUSES]
    rows = [(device, spans) for device, spans in sorted(healths.items())]
    rows += [(f"held: {cause}", held[cause]) for cause in causes]
    bottom = strip.row * len(rows) + 6.0
    keys = [health for health in STROKES if any(span.health is health for one in healths.values() for span in one)]
    names = {"viewBox": f"0 0 {width:g} {bottom + 66:.0f}", "role": "img", "aria-label": "Devices over time"}
    picture = Element("svg", names)
    strip.draw_times(picture, bottom)
    for number, (name, spans) in enumerate(rows):
        y = strip.row * (number + 0.7)
        strip.write_name(picture, y, name)
        for span in spans:
            group = add(picture, "g", {"class": "thing"})
            how = "held back" if span.health is None else span.health.value
            from_to = f"{clock(span.from_ns - run.started_ns)} to {clock(span.to_ns - run.started_ns)} min:s"
            add(group, "title", text=f"{name}: {how}, {from_to}{f'; {span.why}' if span.why else ''}")
            stroke = HELD_BACK if span.health is None else STROKES[span.health]
            a, b = strip.across(span.from_ns), max(strip.across(span.to_ns), strip.across(span.from_ns) + 1.5)
            symbols.line(group, (a, y), (b, y), stroke)
    _draw_key(picture, strip.left, bottom + 54.0, keys)
    return picture


def _draw_key(picture: Element, left: float, y: float, healths: Iterable[Health]) -> None:
    for number, health in enumerate(healths):
        x = left + 88.0 * number
        symbols.line(picture, (x, y - 4.5), (x + 22.0, y - 4.5), STROKES[health])
        symbols.words(picture, (x + 27.0, y), health.value, fill=look.INK_SOFT)


def total(spans: Sequence[Span]) -> int:
    """Return how long (ns) some spans lasted together."""
    return sum(span.to_ns - span.from_ns for span in spans)


def reports_table(run: RecordedRun, series: RunSeries) -> Table:
    """Return what each device reported, in figures: over a link, how good the link was.

    The first ones are in every record, the others where the readings are.
    """
    heads = (
        *("device", "+reports", "+of those due / %", "+mean age in its step / ms", "+95 % below / ms", "+oldest / ms"),
        *("+longest silence / s", "+missed"),
    )
    figures = figures_of(run)
    counted = {name.removesuffix(REPORTS) for name in figures if name.endswith(REPORTS)}
    rows: list[list[Cell]] = [
        [name, *_in_all(figures, name, series.devices.get(name)), *_one_by_one(series.devices.get(name))]
        for name in sorted(counted | series.devices.keys())
    ]
    return Table(heads, rows, "No report of a device is in this record.")


REPORTS, DUE, AGE = " reports", " reports / due", " age / s"


def _in_all(figures: Mapping[str, float], name: str, one: DeviceSeries | None) -> list[str]:
    reports = figures.get(f"{name}{REPORTS}", math.nan if one is None else len(one.taken_ns))
    due, age = figures.get(f"{name}{DUE}", math.nan), figures.get(f"{name}{AGE}", math.nan)
    return [_figure(reports, 0), _figure(100.0 * due, 1), _figure(1000.0 * age, 1)]


def _one_by_one(one: DeviceSeries | None) -> list[str]:
    if one is None:
        return [UNKNOWN] * 4
    ages = sorted(one.ages_ns)
    silence = max((b - a for a, b in pairwise(one.taken_ns)), default=math.nan)
    return [_milliseconds(ages, 0.95), _milliseconds(ages, 1.0), _figure(silence * 1e-9, 2), str(one.missed)]


def _figure(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else UNKNOWN


def figures_of(run: RecordedRun) -> dict[str, float]:
    """Return what the run came to know of its devices, in figures by name; none in records of earlier layouts."""
    entry = run.outcome.summary.get("figures") if run.outcome else None
    figures = entry if isinstance(entry, Mapping) else {}
    return {str(name): float(value) for name, value in figures.items() if isinstance(value, int | float)}


def figures_table(run: RecordedRun) -> Table:
    """Return the other figures."""
    rows = [
        [name, with_minus(f"{value:.4g}")]
        for name, value in figures_of(run).items()
        if not name.endswith((REPORTS, DUE, AGE))
    ]
    return Table(("", "+figure"), rows, "None are in this record.")


def loop_table(run: RecordedRun, series: RunSeries) -> Table:
    """Return how regularly the loop's steps came."""
    waits = sorted(b - a for a, b in pairwise(series.steps_ns))
    summary = run.outcome.summary if run.outcome else {}
    rows: list[list[Cell]] = [
        [name, str(summary[key])]
        for key, name in (("steps", "steps"), ("skipped", "skipped, since they came too late"))
        if isinstance(summary.get(key), int)
    ]
    if waits:
        shares = (("median", 0.5), ("95 % below", 0.95), ("99 % below", 0.99), ("the longest", 1.0))
        rows += [[f"from step to step, {name}, ms", _milliseconds(waits, share)] for name, share in shares]
        late = sum(wait > 1.5 * waits[len(waits) // 2] for wait in waits)
        rows.append(["later than one and a half periods, %", f"{100.0 * late / len(waits):.2f}"])
    return Table(("", "+figure"), rows, "Nothing is known of the loop's steps.")


def _milliseconds(ordered: Sequence[int], share: float) -> str:
    """Return the quantile (nearest rank) of some times (ns)."""
    if not ordered:
        return UNKNOWN
    return f"{ordered[min(len(ordered) - 1, round(share * (len(ordered) - 1)))] * 1e-6:.1f}"
