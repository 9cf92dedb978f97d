"""What the report works out from a run: errors against the truth, ellipses, times, counts."""

import json
import math
import re
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

from rover.estimate.ellipse import CHI_SQUARE_2_95, ellipse_95
from rover.events import BELIEVED, FELT, SEEN, Delivery, Ellipse, Find, GivenUp, Note, ObjectEvent
from rover.geometry import XY
from rover.record.run import FinalObject, RecordedRun, RecordError, TrueFind, left_there
from rover.report.table import Letter
from rover.report.tints import Lid, signs_of

Placed = TypeVar("Placed", Delivery, GivenUp)
PALE = 80
"""What no part of a lid's colour is more saturated than (of 255) has no hue that one would call it by."""


@dataclass(frozen=True)
class FindError:
    """By how far a find was off (m, field axes: reported less true), and whether the truth is in its 95 % ellipse."""

    x: float
    y: float
    inside: bool

    @property
    def larger_axis(self) -> float:
        """The larger of the two axis errors (m), without sign."""
        return max(abs(self.x), abs(self.y))

    @property
    def distance(self) -> float:
        """Distance (m) between the reported and the true place."""
        return math.hypot(self.x, self.y)


def ellipse_of(find: Find) -> Ellipse:
    """Return the 95 % ellipse of a find; NaN where its covariance is not known."""
    if not math.isfinite(find.xx + find.xy + find.yy):
        return Ellipse(math.nan, math.nan, math.nan)
    return ellipse_95(find.xx, find.xy, find.yy)


def error_of(find: Find, truth: TrueFind) -> FindError:
    """Return the error of a find against the true place."""
    x, y = find.x - truth.x, find.y - truth.y
    axes = ellipse_of(find)
    along = x * math.cos(axes.angle_rad) + y * math.sin(axes.angle_rad)
    across = y * math.cos(axes.angle_rad) - x * math.sin(axes.angle_rad)
    inside = axes.minor_m > 0.0 and math.hypot(along / axes.major_m, across / axes.minor_m) <= 1.0
    return FindError(x, y, inside)


def errors_of(run: RecordedRun) -> dict[int, FindError]:
    """Return the errors of the finds whose true place is known, by number."""
    finds = (find for find in run.finds if find.number in run.true_finds)
    return {find.number: error_of(find, run.true_finds[find.number]) for find in finds}


def signs_in(run: RecordedRun) -> dict[str, Letter]:
    """Return letter and tint of every kind that the record speaks of, sorted; by the lids' colours where it has them.

    Raises:
        RecordError: the header's entry 'kinds' cannot be used.
    """
    lids, met = _lids(run), _kinds_met(run)
    signs = signs_of({kind: lids.get(kind) for kind in sorted(met | lids.keys())})
    return {kind: sign for kind, sign in signs.items() if kind in met}


def kinds_known(run: RecordedRun) -> list[str]:
    """Return the names of all kinds that the record speaks of and of those of its errand, sorted.

    Raises:
        RecordError: the header's entry 'kinds' cannot be used.
    """
    return sorted(_kinds_met(run) | _lids(run).keys())


def _kinds_met(run: RecordedRun) -> set[str]:
    things = run.events_of(Find) + run.events_of(Delivery) + run.events_of(GivenUp) + run.events_of(ObjectEvent)
    return {thing.kind for thing in (*things, *run.final_objects)}


def _lids(run: RecordedRun) -> dict[str, Lid | None]:
    return lids_of(run.header)


def lids_of(header: Mapping[str, str]) -> dict[str, Lid | None]:
    """Return the lid of each kind of the errand, as the header's entry ``kinds`` has it; None: nothing is known of it.

    Raises:
        RecordError: the entry cannot be used.
    """
    try:
        return {kind: _lid(seen) for kind, seen in json.loads(header.get("kinds", "{}")).items()}
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise RecordError(f"the record's header entry 'kinds' cannot be used: {error!r}") from None


def _lid(seen: Mapping[str, Any]) -> Lid | None:
    """Return a lid's colour out of its ranges on the 8-bit OpenCV scale: hues of two degrees, which may cross zero."""
    if "hue" not in seen:
        return None
    low, high = seen["hue"]
    middle = low + 0.5 * ((high - low) % 180)
    return Lid(2.0 * middle % 360.0, grey=float(seen["saturation"][1]) < PALE)


@dataclass(frozen=True)
class Verdict:
    """What a find is beside the errand's allowance: ``words``, and whether it is beyond it, or may be."""

    words: str
    is_beyond: bool


def verdicts_of(run: RecordedRun) -> dict[int, Verdict]:
    """Return the verdict on each find, by number; none where the errand has no allowance.

    Where the truth is known, by the larger axis error; elsewhere by the longer semi-axis of the 95 % ellipse.

    Raises:
        RecordError: the header's entry 'allowance' is no number.
    """
    allowance = allowance_of(run)
    errors = errors_of(run)
    return {} if allowance is None else {one.number: _verdict(one, errors, allowance) for one in run.finds}


def _verdict(find: Find, errors: Mapping[int, FindError], allowance: float) -> Verdict:
    if find.number in errors:
        is_within = errors[find.number].larger_axis <= allowance
        return Verdict("yes" if is_within else "NO", not is_within)
    is_within = ellipse_of(find).major_m <= allowance  # not, where the ellipse is not known
    return Verdict("by its ellipse" if is_within else "not sure", not is_within)


def allowance_of(run: RecordedRun) -> float | None:
    """Return how far off (m) the errand allows a find to be, in x and in y.

    Raises:
        RecordError: the header's entry is no number.
    """
    try:
        return float(run.header["allowance"]) if "allowance" in run.header else None
    except ValueError as error:
        raise RecordError(f"the record's header entry 'allowance' cannot be used: {error}") from None


def left_on_the_floor(run: RecordedRun) -> list[FinalObject]:
    """Return the objects that stood on the floor at the end, as far as the truth is known."""
    return [one for one in run.final_objects if one.place == "floor" and math.isfinite(one.x + one.y)]


def placed(run: RecordedRun, kind: type[Placed]) -> list[Placed]:
    """Return the events of a class that have a place: where it was lost, x and y are NaN."""
    return [event for event in run.events_of(kind) if math.isfinite(event.x + event.y)]


def overlooked(run: RecordedRun) -> tuple[float, list[XY]]:
    """Return side and middles (m) of the squares of the field that were never looked at, as far as that is recorded.

    Raises:
        RecordError: the record's outcome cannot be used.
    """
    entry: Any = run.outcome.summary.get("overlooked") if run.outcome else None
    if entry is None:
        return 0.0, []
    try:
        return float(entry["side"]), [(float(x), float(y)) for x, y in entry["squares"]]
    except (ValueError, TypeError, KeyError) as error:
        raise RecordError(f"'overlooked' in the record's outcome cannot be used: {error!r}") from None


class ThingMet(NamedTuple):
    """Something in the way that no map has: where (m), touched or only heard, when, and the place's 95 % radius (m)."""

    at_ns: int
    x: float
    y: float
    touched: bool
    spread: float


def things_met(run: RecordedRun) -> list[ThingMet]:
    """Return what stood in the way, in the order in which it was met."""
    found = []
    for at_ns, event in run.happenings:
        if isinstance(event, Note) and event.kind == "met" and (match := _MET.fullmatch(event.text)):
            x, y = float(match[2]), float(match[3])
            found.append(ThingMet(at_ns, x, y, match[1] == "touched", _spread_at(run, at_ns)))
    return found


_MET = re.compile(r"something (touched|heard) at x (-?[\d.]+) m, y (-?[\d.]+) m")


def _spread_at(run: RecordedRun, at_ns: int) -> float:
    """Return the 95 % radius (m) of the robot's own place at a time, as if it were as unsure in all directions."""
    at = bisect_right(run.track, at_ns, key=lambda sample: sample.at_ns)
    if not at:
        return math.nan
    point = run.track[at - 1].point
    return math.sqrt(CHI_SQUARE_2_95) * max(point.sigma_x, point.sigma_y)


def delivered_words(run: RecordedRun) -> str:
    """Return '9 of 9', or '9' where nobody said how many there were; and how many are only believed."""
    known = run.outcome.summary.get("expected") if run.outcome else None
    total = known if isinstance(known, int) else len(run.final_objects) or None
    delivered = len(run.counted)
    believed = len(left_there(one.event for one in run.happenings)) - delivered
    words = f"{delivered}" if total is None else f"{delivered} of {total}"
    return f"{words}, {believed} more only believed" if believed else words


def account_words(run: RecordedRun) -> str:
    """Return how the deliveries are known, and what the ledger has as left: ``seen 8, felt 1, believed 0, left 0``.

    Of a field that could not be looked at everywhere also the share: ``8 % of the field not looked at``.
    """
    known_by = [one.known_by for one in left_there(one.event for one in run.happenings)]
    words = [f"{name} {known_by.count(name)}" for name in (SEEN, FELT, BELIEVED)]
    summary = run.outcome.summary if run.outcome else {}
    left, unseen = summary.get("left"), summary.get("unseen")
    if isinstance(left, int):
        words.append(f"left {left}")
    if isinstance(unseen, float) and unseen:
        words.append(f"{unseen:.0%} of the field not looked at")
    return ", ".join(words)
