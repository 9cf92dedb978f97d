"""One trial, and the row that it comes to."""

from dataclasses import replace
from pathlib import Path

import pytest

from rover.files.given import Given
from rover.record.reader import read
from rover.record.run import TrueFigures
from rover.session.result import Result
from rover.trials.trial import Trial, is_success, run_trial, why_not
from tests.trials.conftest import ROOT, ShortErrand

NOTHING_HAPPENED = TrueFigures(9, 9, 0, 0, 0, 0, 0, 0.0, 0, 0, 0.0, 0.0, 1.0)
ALL_IN = Result("done", "all_in", 9, 9, NOTHING_HAPPENED, (), None, 100.0, 1.0, 5000, "")


def trial(short: ShortErrand, **keys: object) -> Trial:
    return replace(Trial(1, "", short.path, 1), **keys)


def test_a_row_says_what_became_of_it(short: ShortErrand) -> None:
    row = run_trial(trial(short))
    assert (row.is_success, row.result, row.reason, why_not(row)) == (True, "done", "over", "")
    assert row.ended.state == "stand"
    assert row.ended.exit == "after settings.stands"


def test_the_same_trial_gives_the_same_row(short: ShortErrand) -> None:
    assert run_trial(trial(short)) == run_trial(trial(short))
    assert run_trial(trial(short)).digest != run_trial(trial(short, given=Given({"stands": "2 s"}))).digest


def test_a_failed_one_says_where_and_by_which_exit(short: ShortErrand) -> None:
    short.does("stand_still", "failed")
    assert why_not(run_trial(trial(short))) == "failed (over)"


def test_a_device_that_is_not_ok_at_the_end_is_named(short: ShortErrand) -> None:
    row = run_trial(trial(short, given=Given(faults=("at 0 s: heading silent", "at 0.2 s: camera silent for 100 ms"))))
    assert row.ended.device == "heading"


def test_a_stop_is_no_success(short: ShortErrand) -> None:
    short.write("cart", short_robot_with_stop_input(short))
    row = run_trial(trial(short, given=Given(faults=("at 500 ms: stop input open",))))
    assert (row.result, why_not(row)) == ("stopped", "stopped: the stop input is open")
    assert row.ended.exit == "the stop input is open"


def short_robot_with_stop_input(short: ShortErrand) -> dict[str, object]:
    from rover.files import yaml_source

    values = yaml_source.read(ROOT / "config/cart.yaml", "cart.yaml").values
    return values | {"devices": values["devices"] | {"stop_input": {"driver": "simulated"}}}


def test_an_error_in_an_own_activity_is_a_row_with_its_traceback(short: ShortErrand) -> None:
    short.own("class Own(Activity):\n    def step(self, known):\n        return 1 / 0\n")
    row = run_trial(trial(short))
    assert why_not(row) == "failed (missed)"
    assert "ZeroDivisionError" in row.error
    assert "return 1 / 0" in row.error


def test_files_with_mistakes_are_a_row_too(short: ShortErrand) -> None:
    row = run_trial(trial(short, given=Given({"bench.flor.slip": 1})))
    assert row.result == "error"
    assert "did you mean 'floor'?" in row.reason


def test_the_record_of_a_failed_one_is_kept(short: ShortErrand, tmp_path: Path) -> None:
    record = tmp_path / "kept" / "one.sqlite"
    run_trial(trial(short, record=record))
    assert not record.exists()
    run_trial(trial(short, record=record, keeps_all=True))
    assert read(record).outcome is not None
    record.unlink()
    short.does("stand_still", "failed")
    run_trial(trial(short, record=record))
    assert read(record).outcome is not None


def test_a_record_that_cannot_be_kept_costs_no_row(short: ShortErrand, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    row = run_trial(trial(short, record=tmp_path / "file" / "one.sqlite", keeps_all=True))
    assert row.is_success
    assert "the record cannot be kept" in row.error


def test_own_code_that_ends_the_program_ends_its_trial(short: ShortErrand) -> None:
    short.own("class Own(Activity):\n    def __init__(self, known, values):\n        raise SystemExit(3)\n")
    assert why_not(run_trial(trial(short))) == "error: SystemExit: 3"


@pytest.mark.parametrize(
    ("result", "expected"),
    [
        (ALL_IN, True),
        (replace(ALL_IN, result="failed"), False),
        (replace(ALL_IN, result="stopped"), False),
        (replace(ALL_IN, truth=replace(NOTHING_HAPPENED, delivered=8)), False),
        (replace(ALL_IN, delivered=8, truth=replace(NOTHING_HAPPENED, delivered=8)), False),
        (replace(ALL_IN, truth=replace(NOTHING_HAPPENED, empty_deliveries=1)), False),
        (replace(ALL_IN, delivered=8), True),
        (replace(ALL_IN, truth=replace(NOTHING_HAPPENED, bumps=3)), True),
        (replace(ALL_IN, truth=None), True),
        (replace(ALL_IN, delivered=8, believed=1), False),
        (replace(ALL_IN, delivered=8, left=1), False),
        (replace(ALL_IN, truth=None, delivered=8), False),
        (replace(ALL_IN, truth=None, objects=None), True),
    ],
)
def test_success_is_done_and_true_and_nothing_left(result: Result, expected: bool) -> None:
    assert is_success(result, has_tray=True) is expected


def test_where_there_is_no_tray_nothing_can_be_left_out_of_it() -> None:
    none_in = replace(ALL_IN, delivered=0, truth=replace(NOTHING_HAPPENED, delivered=0))
    assert not is_success(none_in, has_tray=True)
    assert is_success(none_in, has_tray=False)
