"""What became of each object."""

from collections.abc import Iterator
from typing import NamedTuple

from rover.events import Delivery, Event, Find, GivenUp, ObjectEvent
from rover.record.run import RecordedRun
from rover.report.figures import signs_in
from rover.report.numbers import metres
from rover.report.table import Cell, Table, Time


class Told(NamedTuple):
    """What happened to an object: its number (0: not known which), what and why, where (m)."""

    number: int
    kind: str
    what: str
    why: str
    x: float
    y: float


def told(event: Event) -> Told | None:
    """Return what an event tells of an object; None where it tells nothing."""
    match event:
        case ObjectEvent(number, kind, what, x, y, why):
            return Told(number, kind, what, why, x, y)
        case Find():
            return Told(event.object, event.kind, f"found, find {event.number}", "", event.x, event.y)
        case Delivery():
            why = f"{event.known_by}{f': {event.why}' if event.why else ''}"
            return Told(event.object, event.kind, f"delivered, slot {event.slot}", why, event.x, event.y)
        case GivenUp():
            return Told(event.object, event.kind, "given up", event.why, event.x, event.y)
    return None


def stories_table(run: RecordedRun) -> Table:
    """Return each object's story, object by object; what happened to one again and again is one row."""
    heads = ("+object", "", "kind", "+time / min:s", "what", "why", "+x / m", "+y / m", "+times", "+last / min:s")
    signs = signs_in(run)
    rows: list[list[Cell]] = []
    for number, steps in sorted(_by_object(run).items()):
        for at_ns, step, times, last_ns in _joined(steps):
            again: list[Cell] = [str(times), Time(last_ns - run.started_ns)] if times > 1 else ["", ""]
            place = [metres(step.x), metres(step.y)]
            which: list[Cell] = [
                str(number) if number else "?",
                signs[step.kind],
                step.kind,
                Time(at_ns - run.started_ns),
            ]
            rows.append([*which, step.what, step.why, *place, *again])
    return Table(heads, rows, "No object was seen.")


def _by_object(run: RecordedRun) -> dict[int, list[tuple[int, Told]]]:
    stories: dict[int, list[tuple[int, Told]]] = {}
    for at_ns, event in run.happenings:
        if step := told(event):
            stories.setdefault(step.number, []).append((at_ns, step))
    return stories


def _joined(steps: list[tuple[int, Told]]) -> Iterator[tuple[int, Told, int, int]]:
    """Yield the steps with how often each came in a row, and when last."""
    first, times = 0, 0
    for at, (at_ns, step) in enumerate(steps):
        times += 1
        following = steps[at + 1][1] if at + 1 < len(steps) else None
        if following is None or (following.what, following.why) != (step.what, step.why):
            yield *steps[first], times, at_ns
            first, times = at + 1, 0
