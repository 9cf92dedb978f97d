"""The tables of the report: what was found, brought and left, and why the robot did what it did."""

from collections.abc import Iterable, Sequence
from typing import TypeVar
from xml.etree.ElementTree import Element

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
from rover.report.figures import FindError, ellipse_of, errors_of, kinds_of
from rover.report.look import letters, tints
from rover.report.markup import add
from rover.report.numbers import TIMES, UNKNOWN, clock, degrees, metres, millimetres, with_minus

Cell = str | Element
Listed = TypeVar("Listed", Delivery, GivenUp, StateChange)
KNOWN_BY = {
    SEEN: "seen in the tray",
    FELT: "felt to be out of the jaws",
    BELIEVED: "nothing: only believed, not counted",
}
FIGURE = "+"  # a heading that begins with it stands over figures, set to the right


def finds_table(run: RecordedRun) -> Element:
    """Return the table of finds, with their errors where the truth is known."""
    heads = (
        "+no.", "", "kind", "+x / m", "+y / m", "+error in x / mm", "+error in y / mm", "+larger axis error / mm",
        "+distance error / mm", "+95 % ellipse, semi-axes / mm", "+its long axis from x / deg", "truth inside",
    )  # fmt: skip
    errors = errors_of(run)
    rows = [_find_row(run, find, errors.get(find.number)) for find in run.finds]
    return table(heads, rows, "Nothing was found.")


def _find_row(run: RecordedRun, find: Find, error: FindError | None) -> list[Cell]:
    axes = ellipse_of(find)
    off = [error.x, error.y, error.larger_axis, error.distance] if error else []
    return [
        str(find.number),
        _letter(run, find.kind),
        find.kind,
        metres(find.x),
        metres(find.y),
        *([millimetres(value) for value in off] or [UNKNOWN] * 4),
        f"{millimetres(axes.major_m)} {TIMES} {millimetres(axes.minor_m)}",
        degrees(axes.angle_rad),
        ("yes" if error.inside else "no") if error else "nothing held" if run.truth else UNKNOWN,
    ]


def deliveries_table(run: RecordedRun) -> Element:
    """Return the table of what was set down."""
    heads = (
        "+time / min:s",
        "+no.",
        "",
        "kind",
        "+slot",
        "+x / m",
        "+y / m",
        "+chance that it is inside / %",
        "known by",
    )
    rows: list[list[Cell]] = []
    for time, event in _timed(run, Delivery):
        number, letter = str(event.number), _letter(run, event.kind)
        place = [str(event.slot), metres(event.x), metres(event.y), f"{100.0 * event.chance_inside_zone:.1f}"]
        rows.append([time, number, letter, event.kind, *place, KNOWN_BY.get(event.known_by, event.known_by)])
    return table(heads, rows, "Nothing was set down.")


def given_up_table(run: RecordedRun) -> Element:
    """Return the table of what was left."""
    heads = ("+time / min:s", "", "kind", "+x / m", "+y / m", "why")
    rows: list[list[Cell]] = [
        [time, _letter(run, event.kind), event.kind, metres(event.x), metres(event.y), event.why]
        for time, event in _timed(run, GivenUp)
    ]
    return table(heads, rows, "Nothing was given up.")


def changes_table(run: RecordedRun) -> Element:
    """Return the table of changes of state: the exit taken, where it is written, what its condition saw."""
    heads = ("+time / min:s", "left", "entered", "exit taken", "written in", "values it saw")
    rows = [
        [time, event.left, event.entered, event.exit, event.where, _values(event)]
        for time, event in _timed(run, StateChange)
    ]
    return table(heads, rows, "No change of state was recorded.")


def _values(change: StateChange) -> str:
    return ", ".join(f"{name} {_short(value)}" for name, value in change.values.items())


def _short(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return with_minus(f"{value:.4g}") if isinstance(value, float) else str(value)


def watch_table(run: RecordedRun) -> Element:
    """Return the table of health, hold-backs, stops and notes."""
    lengths = hold_back_lengths(run)
    rows = [
        [clock(at_ns - run.started_ns), *words, clock(lengths[position]) if position in lengths else ""]
        for position, (at_ns, event) in enumerate(run.happenings)
        if (words := _in_words(event))
    ]
    return table(("+time / min:s", "what", "how and why", "+lasted / min:s"), rows, "Nothing out of the ordinary.")


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


def table(heads: Sequence[str], rows: Iterable[Sequence[Cell]], otherwise: str) -> Element:
    """Return a table, or the sentence ``otherwise`` when it would have no rows."""
    section = Element("div")
    rows = list(rows)
    if not rows:
        add(section, "p", {"class": "none"}, otherwise)
        return section
    whole = add(section, "table")
    head = add(add(whole, "thead"), "tr")
    classes = [{"class": "figure"} if name.startswith(FIGURE) else {} for name in heads]
    for name, attributes in zip(heads, classes, strict=True):
        add(head, "th", {"scope": "col", **attributes}, name.removeprefix(FIGURE).replace(" / ", "\u00a0/\u00a0"))
    body = add(whole, "tbody")
    for row in rows:
        _add_row(body, row, classes)
    return section


def _add_row(body: Element, row: Sequence[Cell], classes: Sequence[dict[str, str]]) -> None:
    line = add(body, "tr")
    for cell, attributes in zip(row, classes, strict=True):
        if isinstance(cell, str):
            add(line, "td", attributes, cell)
        else:
            add(line, "td", attributes).append(cell)


def _letter(run: RecordedRun, kind: str) -> Element:
    tint = tints(kinds_of(run))[kind]
    box = Element("span", {"class": "letter", "style": f"background:{tint.fill};color:{tint.letter}"})
    box.text = letters(kinds_of(run))[kind]
    return box


def _timed(run: RecordedRun, kind: type[Listed]) -> list[tuple[str, Listed]]:
    """Return the events of a class, each with its time as the tables show it."""
    return [(clock(at_ns - run.started_ns), event) for at_ns, event in run.happenings if isinstance(event, kind)]
