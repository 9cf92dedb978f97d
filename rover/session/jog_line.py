"""The line that jog shows, within 80 columns: how the guard stands, and what the sensors say."""

import math
from collections.abc import Callable
from typing import Any

from rover.guard.protocol import State
from rover.session.by_hand import SILENT_NS, ManualSession
from rover.stopping import Phase

COLUMNS: dict[str, tuple[int, Callable[[Any], str]]] = {
    "heading": (10, lambda value: f"{math.degrees(value.angle):+.1f} deg"),
    "range": (7, lambda value: "no echo" if value.distance is None else f"{value.distance:.2f} m"),
    "battery": (7, lambda value: f"{value.volts:.2f} V"),
    "counts": (15, lambda value: f"{value.left:+d} {value.right:+d}"),
}
"""By family, the width of its column and how its value is written."""
STANDING = 25
HEAD = "  ".join([f"{'':<{STANDING}}", "speed", *(f"{name:>{width}}" for name, (width, _) in COLUMNS.items())])


def status(session: ManualSession, share: float, causes: tuple[str, ...], now_ns: int) -> str:
    """Return the line; what does not fit of why nothing moves stands in `standing`."""
    told = cut(standing(session, causes, now_ns), STANDING)
    fields = [_field(session, name, width, text) for name, (width, text) in COLUMNS.items()]
    return "  ".join([f"{told:<{STANDING}}", f"{share:>5.0%}", *fields])


def _field(session: ManualSession, name: str, width: int, text: Callable[[Any], str]) -> str:
    said = text(session.latest[name].value) if name in session.latest else ""
    return f"{cut(said, width):>{width}}"


def cut(text: str, width: int) -> str:
    """Return a text of so many letters at most, with a mark where something is left out."""
    return text if len(text) <= width else f"{text[: width - 1]}\N{HORIZONTAL ELLIPSIS}"


def standing(session: ManualSession, causes: tuple[str, ...], now_ns: int) -> str:
    """Return whether it may move, and if not, why not and what to do."""
    state = session.state
    if state is None or now_ns - state.now_ns > SILENT_NS:
        return "GUARD SILENT"
    if session.is_running:
        return f"held back: {', '.join(causes)}" if causes else "running"
    return _why_not(state)


def _why_not(state: State) -> str:
    if state.phase is Phase.READY:
        return "reset; g permits motion"
    if state.phase is Phase.HELD:
        return f"HELD; g goes on: {state.cause}"
    return f"STOPPED: {state.cause or state.note}"
