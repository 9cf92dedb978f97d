"""How a run or a rehearsal ended, as printed and as `--json` has it."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from rover.estimate.ellipse import ellipse_95
from rover.events import Ellipse, Find


@dataclass(frozen=True)
class FindReport:
    """One find for the result: believed position (m), errors against the truth where that is known, 95 % ellipse."""

    kind: str
    x_m: float
    y_m: float
    axis_error_m: float | None
    distance_error_m: float | None
    ellipse: Ellipse


def report_of(find: Find, stood: tuple[float, float] | None) -> FindReport:
    """Return the report of a find, held against where the object stood (m), where that is known."""
    axis = distance = None
    if stood is not None:
        axis = max(abs(find.x - stood[0]), abs(find.y - stood[1]))
        distance = math.hypot(find.x - stood[0], find.y - stood[1])
    return FindReport(find.kind, find.x, find.y, axis, distance, ellipse_95(find.xx, find.xy, find.yy))


@dataclass(frozen=True)
class Result:
    """How a run ended. ``delivered`` is what truly stands in the tray, where the truth is known."""

    result: str
    reason: str
    delivered: int
    objects: int | None
    finds: tuple[FindReport, ...]
    worst_axis_error_m: float | None
    robot_time_s: float
    wall_time_s: float
    steps: int
    record: str


ShowProgress = Callable[[float, str, int], None]
"""Called now and then with robot time (s), state and the number delivered so far."""
