"""The tables of the report: what was found, brought and left, and why the robot did what it did."""

from collections import Counter
from collections.abc import Iterator
from typing import TypeVar

from rover.awaited import in_words
from rover.events import (
    BELIEVED,
    FELT,
    SEEN,
    Delivery,
    Find,
    GivenUp,
    Health,
    Note,
    StateChange,
    Stop,
)
from rover.record.run import RecordedRun
from rover.report.devices import Span, health_spans, hold_back_spans, total
from rover.report.figures import FindError, Verdict, allowance_of, ellipse_of, errors_of, signs_in, verdicts_of
from rover.report.numbers import UNKNOWN, degrees, metres, millimetres, with_minus
from rover.report.table import Cell, Letter, Table, Time

Listed = TypeVar("Listed", Delivery, GivenUp, StateChange)
KNOWN_BY = {
    SEEN: "seen in the tray",
    FELT: "felt to be out of the jaws",
    BELIEVED: "nothing: only believed, not counted",
}
TRUTH_HEADS = (
    *("+true x / m", "+true y / m", "+error in x / mm", "+error in y / mm", "+larger axis error / mm"),
    *("+distance / mm", "inside its ellipse"),
)


def finds_table(run: RecordedRun) -> Table:
    """Return the table of finds: where the truth is known of one, with true places and errors of all that have them."""
    errors, verdicts, signs = errors_of(run), verdicts_of(run), signs_in(run)
    knows_truth = bool(errors) or run.truth is not None
    allowance = allowance_of(run)
    heads = [
        *("+no.", "", "kind", "+reported x / m", "+reported y / m"),
        *("+95 % ellipse, long semi-axis / mm", "+short semi-axis / mm", "+long one from x / deg"),
        *(TRUTH_HEADS if knows_truth else ()),
        *([] if allowance is None else [f"within {allowance * 1000:.4g} mm"]),
    ]
    rows = [
        [
            *_reported(find, signs),
            *(_truth_cells(run, find, errors.get(find.number)) if knows_truth else ()),
            *_verdict_cell(find, verdicts),
        ]
        for find in run.finds
    ]
    return Table(heads, rows, "Nothing was found.")


def _reported(find: Find, signs: dict[str, Letter]) -> list[Cell]:
    axes = ellipse_of(find)
    size = [millimetres(axes.major_m), millimetres(axes.minor_m), degrees(axes.angle_rad)]
    return [str(find.number), signs[find.kind], find.kind, metres(find.x), metres(find.y), *size]


def _truth_cells(run: RecordedRun, find: Find, error: FindError | None) -> list[Cell]:
    if error is None:
        return [*[UNKNOWN] * 6, "nothing held" if run.truth else UNKNOWN]
    true = run.true_finds[find.number]
    off = (error.x, error.y, error.larger_axis, error.distance)
    return [metres(true.x), metres(true.y), *map(millimetres, off), "yes" if error.inside else "NO"]


def _verdict_cell(find: Find, verdicts: dict[int, Verdict]) -> list[Cell]:
    return [verdicts[find.number].words] if find.number in verdicts else []


def deliveries_table(run: RecordedRun) -> Table:
    """Return the table of what was set down."""
    heads = (
        *("+time / min:s", "+no.", "", "kind", "+slot", "+x / m", "+y / m"),
        *("+chance that it is inside / %", "known by"),
    )
    signs = signs_in(run)
    rows: list[list[Cell]] = []
    for time, event in _timed(run, Delivery):
        place = [str(event.slot), metres(event.x), metres(event.y), f"{100.0 * event.chance_inside_zone:.1f}"]
        known_by = KNOWN_BY.get(event.known_by, event.known_by)
        rows.append([time, str(event.number), signs[event.kind], event.kind, *place, known_by])
    return Table(heads, rows, "Nothing was set down.")


def given_up_table(run: RecordedRun) -> Table:
    """Return the table of what was left."""
    heads = ("+time / min:s", "", "kind", "+x / m", "+y / m", "why")
    signs = signs_in(run)
    rows: list[list[Cell]] = [
        [time, signs[event.kind], event.kind, metres(event.x), metres(event.y), event.why]
        for time, event in _timed(run, GivenUp)
    ]
    return Table(heads, rows, "Nothing was given up.")


def changes_table(run: RecordedRun) -> Table:
    """Return the table of changes of state: the exit taken, where it is written, what its condition saw."""
    heads = (
        *("+time / min:s", "left", "what was done there", "entered", "exit taken", "written in", "values it saw"),
        "waited for in vain",
    )
    rows: list[list[Cell]] = [
        [time, event.left, event.outcome, _entered(event), event.exit, event.where, _values(event), _awaited(event)]
        for time, event in _timed(run, StateChange)
    ]
    return Table(heads, rows, "No change of state was recorded.")


def _entered(change: StateChange) -> str:
    diverted = [f"{one.state} had had its {one.tries} tries" for one in change.diversions]
    return f"{change.entered} ({', '.join(diverted)})" if diverted else change.entered


def _awaited(change: StateChange) -> str:
    return "; ".join(in_words(one) for one in change.awaited)


class _Visits:
    """The visits of a state: how many, how long in all (ns), by which exits it was left, and how often."""

    def __init__(self) -> None:
        self.count = self.lasted_ns = 0
        self.left_by: Counter[str] = Counter()


def states_table(run: RecordedRun) -> Table:
    """Return, for each innermost state, how often and how long the robot was in it, and how it was left."""
    visits: dict[str, _Visits] = {}
    changes = [(at_ns, event) for at_ns, event in run.happenings if isinstance(event, StateChange)]
    ends = [*((at_ns, event.exit) for at_ns, event in changes[1:]), (run.ended_ns, "the end of the record")]
    for (from_ns, change), (to_ns, left_by) in zip(changes, ends, strict=False):
        one = visits.setdefault(change.entered, _Visits())
        one.count += 1
        one.lasted_ns += to_ns - from_ns
        one.left_by[left_by] += 1
    heads = ("state", "+visits", "+time in it / min:s", "+share of the run / %", "left by")
    whole = max(run.ended_ns - run.started_ns, 1)
    rows: list[list[Cell]] = [
        [state, str(one.count), Time(one.lasted_ns), f"{100.0 * one.lasted_ns / whole:.1f}", _counted(one.left_by)]
        for state, one in visits.items()
    ]
    return Table(heads, rows, "No change of state was recorded.")


def _counted(exits: Counter[str]) -> str:
    return "; ".join(f"{text} ({count} times)" if count > 1 else text for text, count in exits.most_common())


def _values(change: StateChange) -> str:
    return ", ".join(f"{name} {_short(value)}" for name, value in change.values.items())


def _short(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return with_minus(f"{value:.4g}") if isinstance(value, float) else str(value)


def watch_table(run: RecordedRun) -> Table:
    """Return the table of devices that were not well, hold-backs, stops and notes; what came again is one row."""
    seen: dict[tuple[str, str], list[Span]] = {}
    for words, span in _watched(run):
        seen.setdefault(words, []).append(span)
    heads = ("+first / min:s", "what", "how and why", "+times", "+last / min:s", "+lasted in all / min:s")
    rows: list[list[Cell]] = [
        [
            Time(spans[0].from_ns - run.started_ns),
            *words,
            str(len(spans)) if len(spans) > 1 else "",
            Time(spans[-1].from_ns - run.started_ns) if len(spans) > 1 else "",
            Time(total(spans)) if total(spans) else "",
        ]
        for words, spans in sorted(seen.items(), key=lambda item: item[1][0].from_ns)
    ]
    return Table(heads, rows, "Nothing out of the ordinary.")


def _watched(run: RecordedRun) -> Iterator[tuple[tuple[str, str], Span]]:
    """Yield what and how and why, and from when until when it was so."""
    for device, spans in health_spans(run).items():
        for span in spans:
            if span.health is not None and span.health is not Health.OK:
                yield (device, f"{span.health.value}: {span.why}" if span.why else span.health.value), span
    for cause, spans in hold_back_spans(run).items():
        for span in spans:
            yield ("held back", cause), span
    for at_ns, event in run.happenings:
        match event:
            case Stop(cause):
                yield ("stopped", cause), Span(at_ns, at_ns, None, "")
            case Note(kind, text):
                yield (kind, text), Span(at_ns, at_ns, None, "")


def _timed(run: RecordedRun, kind: type[Listed]) -> list[tuple[Time, Listed]]:
    """Return the events of a class, each with its time as the tables show it."""
    return [(Time(at_ns - run.started_ns), event) for at_ns, event in run.happenings if isinstance(event, kind)]
