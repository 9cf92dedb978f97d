"""What the report works out from a run: errors against the truth, ellipses, times, counts."""

import math
from dataclasses import dataclass

from rover.estimate.ellipse import ellipse_95
from rover.events import BELIEVED, FELT, SEEN, Delivery, Ellipse, Find, GivenUp
from rover.record.run import RecordedRun, TrueFind


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


def kinds_of(run: RecordedRun) -> list[str]:
    """Return the names of all kinds that the record speaks of, sorted."""
    things = run.events_of(Find) + run.events_of(Delivery) + run.events_of(GivenUp) + run.final_objects
    return sorted({thing.kind for thing in things})


def delivered_words(run: RecordedRun) -> str:
    """Return '9 of 9', or '9' where nobody said how many there were; and how many are only believed."""
    known = run.outcome.summary.get("expected") if run.outcome else None
    total = known if isinstance(known, int) else len(run.final_objects) or None
    delivered = len(run.counted)
    believed = len(run.events_of(Delivery)) - delivered
    words = f"{delivered}" if total is None else f"{delivered} of {total}"
    return f"{words}, {believed} more only believed" if believed else words


def account_words(run: RecordedRun) -> str:
    """Return how the deliveries are known, and what the ledger has as left: ``seen 8, felt 1, believed 0, left 0``.

    Of a field that could not be looked at everywhere also the share: ``8 % of the field not looked at``.
    """
    known_by = [one.known_by for one in run.events_of(Delivery)]
    words = [f"{name} {known_by.count(name)}" for name in (SEEN, FELT, BELIEVED)]
    summary = run.outcome.summary if run.outcome else {}
    left, unseen = summary.get("left"), summary.get("unseen")
    if isinstance(left, int):
        words.append(f"left {left}")
    if isinstance(unseen, float) and unseen:
        words.append(f"{unseen:.0%} of the field not looked at")
    return ", ".join(words)
