"""How a run or a rehearsal ended, as printed and as `--json` has it."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from rover.estimate.ellipse import ellipse_95
from rover.events import Ellipse, Find
from rover.record.fates import Fate
from rover.record.run import TrueFigures, TrueFind


@dataclass(frozen=True)
class FindReport:
    """One find for the result: believed position (m), errors against the truth where that is known, 95 % ellipse.

    ``held_nothing``: the truth is known, and nothing was in the jaws.
    """

    kind: str
    x_m: float
    y_m: float
    ellipse: Ellipse
    axis_error_m: float | None = None
    distance_error_m: float | None = None
    held_nothing: bool = False


def report_of(find: Find) -> FindReport:
    """Return the report of a find on which nobody knows the truth."""
    return FindReport(find.kind, find.x, find.y, ellipse_95(find.xx, find.xy, find.yy))


def report_beside(truth: TrueFind | None, find: Find) -> FindReport:
    """Return the report of a find, held against where the object truly stood; None: there was none."""
    if truth is None:
        return replace(report_of(find), held_nothing=True)
    dx, dy = find.x - truth.x, find.y - truth.y
    return replace(report_of(find), axis_error_m=max(abs(dx), abs(dy)), distance_error_m=math.hypot(dx, dy))


@dataclass(frozen=True, kw_only=True)
class Told:
    """What the ledger says of an errand besides the number that it counts.

    Attributes:
        seen: of those delivered, the ones that were seen in the tray.
        believed: objects set down in the tray on which nothing could tell.
        left: objects that are neither; None where there was nothing to bring.
        unseen: share of the field in which more may stand, since it could not be looked at.
        not_in: what is known of and not in the tray, where it stands, and why it is not in.
        gave_up: devices that were not well as the run ended, each with what was wrong, and since when.
        noted: what the behaviour noted to have seen, in words, as it did so last.
    """

    seen: int = 0
    believed: int = 0
    left: int | None = None
    unseen: float = 0.0
    not_in: tuple[Fate, ...] = ()
    gave_up: tuple[str, ...] = ()
    noted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Result(Told):
    """How a run ended: by the behaviour's own word, and beside it by the ledger's account.

    Attributes:
        result, reason: the behaviour's.
        delivered: how many objects are counted as left in the tray: seen there, or felt to have left the jaws.
        objects: how many the errand expects; where it does not say, how many there are, if that is known.
        truth: what truly happened, in a rehearsal; ``truth.delivered`` stands in the tray.
    """

    result: str
    reason: str
    delivered: int
    objects: int | None
    truth: TrueFigures | None
    finds: tuple[FindReport, ...]
    worst_axis_error_m: float | None
    robot_time_s: float
    wall_time_s: float
    steps: int
    record: str

    @property
    def is_clean(self) -> bool:
        """Nobody need go and look: the behaviour is done, nothing is left or only believed, and no ground unseen."""
        return self.result == "done" and not self.left and not self.believed and not self.unseen


ShowProgress = Callable[[float, str, int], None]
"""Called now and then with robot time (s), state and the number delivered so far."""
