"""Rows of invented trials, made as short as a test needs."""

from collections.abc import Iterable, Mapping

from rover.record.run import TrueFigures
from rover.trials.trial import Ended, TrialRow

OBJECTS = 9
HOME = Ended("head_home", "when done and objects.left == 0")
LEFT = Ended("head_home", "after 3 min")


def truth(delivered: int = OBJECTS, *, bumps: int = 0, empty: int = 0) -> TrueFigures:
    """Return what truly happened, with so many objects in the tray, bumps and deliveries of nothing."""
    return TrueFigures(OBJECTS, delivered, 0, empty, 0, 0, bumps, 0.1 * bumps, 0, 0, 0.0, 0.0, 80.0)


def success(
    number: int, variant: str = "", drawn: Mapping[str, float | str] | None = None, **others: object
) -> TrialRow:
    """Return the row of a trial that brought all in; its seed is its number."""
    values: dict[str, object] = {
        "result": "done",
        "reason": "all_in",
        "ended": HOME,
        "counted": OBJECTS,
        "truth": truth(),
        "robot_time_s": 800.0,
    }
    return TrialRow(number, variant, number, drawn or {}, True, **(values | others))  # type: ignore[arg-type]


def failure(
    number: int, variant: str = "", drawn: Mapping[str, float | str] | None = None, **others: object
) -> TrialRow:
    """Return the row of a trial that left two objects where they were."""
    values: dict[str, object] = {
        "result": "failed",
        "reason": "some_left",
        "ended": LEFT,
        "counted": OBJECTS - 2,
        "truth": truth(OBJECTS - 2),
        "robot_time_s": 900.0,
    }
    return TrialRow(number, variant, number, drawn or {}, False, **(values | others))  # type: ignore[arg-type]


def rows(outcomes: Iterable[bool], variant: str = "") -> list[TrialRow]:
    """Return a row for each outcome, numbered from 1."""
    return [(success if is_success else failure)(number, variant) for number, is_success in enumerate(outcomes, 1)]


def command_of(row: TrialRow) -> str:
    """Return the command that shows a row's trial."""
    return f"rover rehearse errand.yaml --seed {row.seed}"
