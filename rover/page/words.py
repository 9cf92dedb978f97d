"""Readings and events in words, as the page shows them."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from rover.awaited import Awaited, Part, confirmation_in_words, lack_in_words, part_in_words
from rover.devices.readings import Detections, Fault
from rover.errors import in_short
from rover.events import (
    BELIEVED,
    Delivery,
    Event,
    Find,
    GivenUp,
    HealthChange,
    HoldBack,
    Note,
    ObjectEvent,
    StateChange,
    Stop,
)


def rounded(value: float, digits: int) -> float | None:
    """Return a number as JSON has it; None for one that is not known."""
    return round(value, digits) if math.isfinite(value) else None


def reading_words(family: str, value: Any) -> str:
    """Return what a device last said, in short; a driver is a person's own, and may say anything."""
    if isinstance(value, Fault):
        return str(value.why)
    if isinstance(value, Detections):
        return f"{len(value.objects)} recognised"
    try:
        if isinstance(value, Mapping):
            return ", ".join(f"{name} {in_short(one)}" for name, one in value.items())
        return WORDS[family](value) if family in WORDS else in_short(value)
    except (AttributeError, TypeError, ValueError):
        return in_short(value)


WORDS: dict[str, Callable[[Any], str]] = {
    "counts": lambda value: f"{value.left:+d} {value.right:+d}",
    "heading": lambda value: f"{math.degrees(value.angle):+.1f} deg",
    "range": lambda value: "no echo" if value.distance is None else f"{value.distance:.2f} m",
    "battery": lambda value: f"{value.volts:.2f} V",
    "stop_input": lambda value: "closed" if value.closed else "open",
}


def recognised(value: Any) -> list[list[Any]]:
    """Return (kind, distance in m, bearing in deg) of what a frame shows."""
    if not isinstance(value, Detections):
        return []
    return [[one.kind, rounded(one.distance, 2), rounded(math.degrees(one.bearing), 1)] for one in value.objects]


def exit_facts(one: Awaited, now_ns: int) -> dict[str, Any]:
    """Return an exit that is waited for, as the page shows it: each part with how far it has come, 0 to 1."""
    lacks = [lack_in_words(lack, now_ns) for lack in one.lacks]
    return {
        "text": one.text,
        "go": one.go,
        "parts": [[part_in_words(part), part.holds, _nearness(part)] for part in one.parts],
        "lacks": lacks,
        "left_s": None if one.left_s is None else rounded(max(one.left_s, 0.0), 1),
        "confirmed": confirmation_in_words(one),
        "holds": one.holds,
        "near": one.is_near,
        "silent": one.is_silent,
    }


def _nearness(part: Part) -> float | None:
    """Return how near a number is to its threshold: 1 at it or past it, 0 as far off as the threshold is from zero."""
    value, threshold = part.value, part.threshold
    if isinstance(value, bool) or not isinstance(value, int | float) or not isinstance(threshold, int | float):
        return None
    if part.holds or not threshold:
        return 1.0 if part.holds else None
    return rounded(max(0.0, 1.0 - abs(value - threshold) / abs(threshold)), 2)


def event_words(event: Event) -> tuple[str, str]:
    """Return what kind of event it is, and the rest of it."""
    match event:
        case StateChange(left, entered, exit_taken):
            return "state", f"{left or 'start'} to {entered}: {exit_taken}"
        case Find(number, kind, x, y):
            return "found", f"{number}, {kind}, at {x:.2f}, {y:.2f} m"
        case Delivery(number, kind, slot, known_by=known_by):
            return "delivered" if known_by != BELIEVED else "set down", f"{number}, {kind}, slot {slot}: {known_by}"
        case GivenUp(kind, x, y, why):
            return "given up", f"{kind} at {x:.2f}, {y:.2f} m: {why}"
        case ObjectEvent(number, kind, what, x, y, why):
            place = f" at {x:.2f}, {y:.2f} m" if math.isfinite(x + y) else ""
            return "object", f"{number}, {kind}: {what}{place}{f': {why}' if why else ''}"
        case HealthChange(device, health, why):
            return "health", f"{device} {health.value}{f': {why}' if why else ''}"
        case HoldBack(cause, ended):
            return "held back", f"{cause}{' no longer' if ended else ''}"
        case Stop(cause):
            return "stopped", cause
        case Note(kind, text):
            return kind, text.partition("\n")[0]
    return "", str(event)
