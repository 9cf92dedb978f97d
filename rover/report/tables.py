"""The tables of the report: what was found, brought and left, and why the robot did what it did."""

from typing import TypeVar

from rover.events import (
    BELIEVED,
    FELT,
    SEEN,
    Delivery,
    Event,
    Find,
    GivenUp,
    HealthChange,
    HoldBack,
    Note,
    StateChange,
    Stop,
)
from rover.record.run import RecordedRun
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
    heads = ("+time / min:s", "left", "entered", "exit taken", "written in", "values it saw")
    rows: list[list[Cell]] = [
        [time, event.left, event.entered, event.exit, event.where, _values(event)]
        for time, event in _timed(run, StateChange)
    ]
    return Table(heads, rows, "No change of state was recorded.")


def _values(change: StateChange) -> str:
    return ", ".join(f"{name} {_short(value)}" for name, value in change.values.items())


def _short(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return with_minus(f"{value:.4g}") if isinstance(value, float) else str(value)


def watch_table(run: RecordedRun) -> Table:
    """Return the table of health, hold-backs, stops and notes."""
    lengths = hold_back_lengths(run)
    rows: list[list[Cell]] = [
        [Time(at_ns - run.started_ns), *words, Time(lengths[position]) if position in lengths else ""]
        for position, (at_ns, event) in enumerate(run.happenings)
        if (words := _in_words(event))
    ]
    return Table(("+time / min:s", "what", "how and why", "+lasted / min:s"), rows, "Nothing out of the ordinary.")


def hold_back_lengths(run: RecordedRun) -> dict[int, int]:
    """Return how long (ns) each hold-back lasted, by the position of its begin among the run's happenings."""
    lengths: dict[int, int] = {}
    begun: dict[str, int] = {}
    for position, (at_ns, event) in enumerate(run.happenings):
        if isinstance(event, HoldBack) and not event.ended:
            begun[event.cause] = position
        elif isinstance(event, HoldBack) and event.cause in begun:
            first = begun.pop(event.cause)
            lengths[first] = at_ns - run.happenings[first].at_ns
    return lengths


def _in_words(event: Event) -> list[str]:
    match event:
        case HealthChange(device, health, why):
            return [device, f"{health.value}: {why}" if why else health.value]
        case HoldBack(cause, ended=False):
            return ["held back", cause]
        case Stop(cause):
            return ["stopped", cause]
        case Note(kind, text):
            return [kind, text]
    return []


def _timed(run: RecordedRun, kind: type[Listed]) -> list[tuple[Time, Listed]]:
    """Return the events of a class, each with its time as the tables show it."""
    return [(Time(at_ns - run.started_ns), event) for at_ns, event in run.happenings if isinstance(event, kind)]
