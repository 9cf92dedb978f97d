"""One moment of a run in words: what the core saw, and which conditions held, nearly held, and since when."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

from rover.awaited import in_words
from rover.devices.readings import Detections
from rover.diagnosis.evidence import Evidence
from rover.diagnosis.visits import Visit
from rover.diagnosis.words import duration, item, place
from rover.session.moment import HOLDS, NEARLY, NOT, NOT_KNOWN, TIMED, Condition, DeviceThen, Moment

HEADINGS = {
    HOLDS: "Conditions that hold",
    NEARLY: "Conditions that nearly hold",
    NOT_KNOWN: "Conditions that are not known",
    NOT: "Conditions that do not hold",
    TIMED: "Ways out by time",
}
COLUMN = 40


def moment_in_words(moment: Moment, evidence: Evidence) -> Iterator[str]:
    """Yield the lines on a moment; the evidence is of the same record."""
    yield f"{moment.seconds:.2f} s after the run's start, by {moment.source}"
    yield ""
    yield from _state(moment, evidence)
    yield ""
    yield "What the devices had reported"
    for device in moment.devices:
        yield item(_of_device(device))
    yield ""
    yield "Signals"
    yield from _in_columns([f"{name} {text}" for name, text in moment.signals.items()])
    for stands, heading in HEADINGS.items():
        some = [one for one in moment.conditions if one.stands == stands]
        if some:
            yield ""
            yield heading
        for one in some:
            yield item(_of_condition(one, moment.at_ns))


def _state(moment: Moment, evidence: Evidence) -> Iterator[str]:
    yield "The robot"
    visit = _visit(moment, evidence)
    since = "" if visit is None else f", for {duration(_for_s(visit, moment))} {place(visit.entered, evidence.run)}"
    yield item(f"in '{moment.state}'{since}")
    p = moment.point
    yield item(
        f"at x {p.x:.3f} m, y {p.y:.3f} m, heading {math.degrees(p.heading):.1f} deg; standard deviations "
        f"{p.sigma_x:.3f} m, {p.sigma_y:.3f} m, {math.degrees(p.sigma_heading):.1f} deg"
    )
    yield item(f"duties {moment.duties[0]:.0%} left, {moment.duties[1]:.0%} right")


def _visit(moment: Moment, evidence: Evidence) -> Visit | None:
    here = [one for one in evidence.visits if one.state == moment.state and one.entered.at_ns <= moment.at_ns]
    return here[-1] if here else None


def _for_s(visit: Visit, moment: Moment) -> float:
    return (moment.at_ns - visit.entered.at_ns) * 1e-9


def _of_device(device: DeviceThen) -> str:
    name = device.name.replace("_", " ")
    health = "" if device.is_ok else ", not ok"
    if device.age_s is None:
        return f"{name}{health}: no report yet"
    return f"{name}{health}, {device.age_s:.2f} s ago: {_value(device.value)}"


def _value(value: Any) -> str:
    if isinstance(value, Detections):
        seen = (
            f"{one.kind} {one.distance:.2f} m off, {math.degrees(one.bearing):.0f} deg left" for one in value.objects
        )
        return "; ".join(seen) or "nothing in the frame"
    if hasattr(value, "_asdict"):
        return ", ".join(f"{name} {_plain(part)}" for name, part in value._asdict().items())
    if isinstance(value, dict):
        return ", ".join(f"{name} {_plain(part)}" for name, part in value.items())
    return _plain(value)


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "none" if value is None else f"{value:.4g}" if isinstance(value, float) else str(value)


def _in_columns(texts: Sequence[str]) -> Iterator[str]:
    """Yield texts in two columns, read downwards; one that is too long for its column has a line of its own."""
    short = [text for text in texts if len(text) <= COLUMN - 4]
    half = (len(short) + 1) // 2
    for left, right in zip(short[:half], [*short[half:], ""], strict=False):
        yield f"  {left:<{COLUMN - 2}}{right}".rstrip()
    yield from (f"  {text}" for text in texts if len(text) > COLUMN - 4)


def _of_condition(one: Condition, now_ns: int) -> str:
    silent = " (for another state)" if one.exit.is_silent else ""
    if one.stands == TIMED:
        return f"{in_words(one.exit, now_ns)}, to '{one.exit.go}'{silent}"
    since = "since before" if one.since_s is None else f"since {one.since_s:.1f} s"
    return f"{in_words(one.exit, now_ns)}, {since}; to '{one.exit.go}'{silent}"
