"""How a run or a rehearsal ended, as printed and as `--json` has it."""

from collections.abc import Callable
from dataclasses import dataclass

from rover.events import Ellipse


@dataclass(frozen=True)
class FindReport:
    """One find for the result: believed position (m), errors against the truth where that is known, 95 % ellipse."""

    kind: str
    x_m: float
    y_m: float
    axis_error_m: float | None
    distance_error_m: float | None
    ellipse: Ellipse


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
