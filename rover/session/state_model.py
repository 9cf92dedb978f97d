"""What a saved state may hold: every value typed and bounded, so that no run begins on half of one or on nonsense."""

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from rover.estimate.looked_at import LOOKS
from rover.files.errand import Errand

FARTHEST = 10_000.0
MOST = 100_000
OBJECT = "object"
"""Kind of what was set down without a kind."""

Coordinate = Annotated[float, Field(ge=-FARTHEST, le=FARTHEST, allow_inf_nan=False)]
"""m, or rad of a heading that may have gone round many times."""
Sigma = Annotated[float, Field(ge=0.0, le=FARTHEST, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=0, le=MOST)]
Text = Annotated[str, Field(max_length=200)]
NonEmpty = Annotated[str, Field(min_length=1, max_length=200)]


Place = tuple[Coordinate, Coordinate]
Variance = Annotated[float, Field(ge=0.0, le=FARTHEST**2, allow_inf_nan=False)]
Covariance = Annotated[float, Field(ge=-(FARTHEST**2), le=FARTHEST**2, allow_inf_nan=False)]
GripState = tuple[NonEmpty, Coordinate, Coordinate, Variance, Covariance, Variance]


class _Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class LedgerState(_Strict):
    """What `rover.errand.saving.saved` returns."""

    finds: Count
    delivered: Annotated[list[NonEmpty], Field(max_length=MOST)]
    seen: Count
    believed: Annotated[list[NonEmpty], Field(max_length=MOST)]
    filled: Annotated[list[tuple[Count, NonEmpty]], Field(max_length=MOST)]
    put_off: Annotated[list[tuple[NonEmpty, Coordinate, Coordinate]], Field(max_length=MOST)]
    let_go: Annotated[list[tuple[Count, GripState, Place, Place]], Field(max_length=MOST)]
    obstacles: Annotated[list[Place], Field(max_length=MOST)]
    visited_places: Count
    to_look_at: Annotated[
        list[tuple[Count, Annotated[int, Field(ge=1, le=LOOKS)]]],
        Field(max_length=MOST),
    ]


class CoreState(_Strict):
    """What `rover.core.Core.saved` returns."""

    pose: tuple[Coordinate, Coordinate, Coordinate]
    sigmas: tuple[Sigma, Sigma, Sigma]
    ledger: LedgerState


class StateFile(_Strict):
    """The file: what it is of, how that run ended, and the core's state, which another release may have otherwise."""

    version: Annotated[int, Field(ge=0)]
    errand: Text
    ended: Text
    core: Any


def why_invalid(error: ValidationError) -> str:
    """Return the first mistake, as place and reason, in one line."""
    first = error.errors(include_url=False, include_input=False)[0]
    place = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in first["loc"]).lstrip(".")
    reason = " ".join(first["msg"].split())
    return f"{place}: {reason}" if place else reason


def why_not_of(errand: Errand, saved: CoreState) -> str:
    """Return what in a state cannot be of an errand, as far as the errand file tells, or ''."""
    x, y, _ = saved.pose
    xs, ys = zip(*errand.field.boundary, strict=True)
    if not (_is_near(x, xs) and _is_near(y, ys)):
        return f"its position, x {x:g} m, y {y:g} m, is far outside the field"
    ledger = saved.ledger
    kinds = {*ledger.delivered, *ledger.believed, *(kind for _, kind in ledger.filled)}
    kinds |= {*(kind for kind, _, _ in ledger.put_off), *(find[0] for _, find, _, _ in ledger.let_go)}
    if errand.kinds and (unknown := sorted(kinds - {*errand.kinds, OBJECT})):
        return f"it has objects of kind '{unknown[0]}'"
    set_down = len(ledger.delivered) + len(ledger.believed)
    if set_down > len(ledger.filled):
        return f"it has {set_down} objects delivered in {len(ledger.filled)} slots"
    if ledger.seen > len(ledger.delivered):
        return f"it has {ledger.seen} objects seen in the tray and {len(ledger.delivered)} delivered"
    slots = [number for number, _ in ledger.filled]
    return "it has two objects in one slot" if len(set(slots)) < len(slots) else ""


def _is_near(place: float, sides: tuple[float, ...]) -> bool:
    """Tell whether a coordinate (m) lies within the field or its own size beside it."""
    size = max(sides) - min(sides)
    return min(sides) - size <= place <= max(sides) + size
