"""The instruments of tools/honesty: each is run in its smallest form, on what must show."""

import importlib
import json
import math
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from rover.errors import UserError
from rover.events import Find, Health, HealthChange, Note, Stop
from rover.files.given import Given
from rover.trials.trial import Trial

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def path(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tools" / "honesty"))


@pytest.fixture
def rehearsing():
    return importlib.import_module("rehearsing")


@pytest.fixture
def lies():
    return importlib.import_module("lies")


@pytest.fixture
def false_alarms():
    return importlib.import_module("false_alarms")


@pytest.fixture
def ellipses():
    return importlib.import_module("ellipses")


@pytest.fixture
def grips():
    return importlib.import_module("grips")


def told(lies, words, *faults, device="counts", at_s=4.0, without=""):
    """Return what came of a lie in the first seconds of an errand: whoever is there presses stop then."""
    lie = lies.Lie(device, words)
    given = Given({}, (f"at {at_s} s: {words}", *faults, "at 9 s: stop pressed"))
    errand = ROOT / "tools/honesty/floors/walled.yaml"
    return lies.tell(lies.Told(Trial(0, "", errand, 1, given, without=without), lie, at_s))


def test_alarms_are_devices_that_are_not_believed_and_stops(rehearsing):
    for health in (Health.FAULTY, Health.DOUBTED):
        assert rehearsing.alarm_of(HealthChange("heading", health, "nonsense"), 1.0).what == "heading"
    assert rehearsing.alarm_of(Stop("stalled too often"), 1.0) == (1.0, "stop", "stalled too often")
    for harmless in (
        HealthChange("heading", Health.OVERDUE, ""),
        HealthChange("heading", Health.OK, ""),
        Note("a", "b"),
    ):
        assert rehearsing.alarm_of(harmless, 1.0) is None


def test_of_a_lie_it_is_told_how_wrong_and_how_sure_the_robot_was(lies):
    row = told(lies, "robot moved by [40 cm, 0 m]", "at 4 s: range no echo", "at 4 s: camera dark")
    assert row.was_told
    assert row.error_m == pytest.approx(0.4, abs=0.06)
    assert 0.0 < row.sigma_m < 0.1
    assert row.sigmas >= row.error_m / row.sigma_m


def test_of_a_lie_it_is_told_when_it_was_noticed(lies):
    silent = told(lies, "counts silent")
    assert silent.verdict == "counts"
    assert 0.1 < silent.after_s < 0.4
    unnoticed = told(lies, "battery stuck", device="battery")
    assert unnoticed.verdict == "stop"
    assert unnoticed.after_s == pytest.approx(5.0, abs=0.03)
    assert unnoticed.driven_s > 1.0
    assert unnoticed.way_m + unnoticed.turned_rad > 0.3


def test_what_a_safeguard_is_worth_shows_without_it(lies):
    before, behind = (told(lies, "left counts stuck", without=name) for name in ("", "cross_checks"))
    assert before.after_s < 4.0
    assert behind.after_s == pytest.approx(5.0, abs=0.03)
    assert behind.error_m > before.error_m


def test_a_lie_for_which_an_errand_is_over_is_not_counted(lies):
    row = told(lies, "counts stuck", at_s=20.0)
    assert not row.was_told
    assert len(list(lies.table([row]))) == 1


def test_what_must_not_be_is_told(lies):
    clean = lies.Row("rover rehearse", "counts stuck", "open", was_told=True)
    assert clean.wrong == ""
    outside = replace(clean, outside_m=0.6)
    counted = replace(clean, not_there=1, error_m=2.0, sigma_m=0.05, sigmas=40.0)
    left = replace(
        clean, is_clean=True, result="done", reason="all_in", verdict="counts", after_s=1.5, blamed=["heading"]
    )
    assert outside.wrong == "0.60 m outside"
    assert counted.wrong == "1 counted and not there"
    assert left.wrong == "done (all_in), and not all is in"
    _, line = lies.table([clean, outside, counted, left])
    assert " ".join(line.split()) == "counts stuck 4 1 1 1 2.00 0.05 40.0 1 1.5 1.5 0.0 0.00 0 heading 1"


def test_all_lies_can_be_told_on_all_floors(lies, rehearsing):
    """What is wrong with a fault line or an errand file is raised."""
    from rover.session.assembly import with_user_activities

    some = (
        *lies.lies_told([1], rehearsing.FLOORS[:1], lies.LIES, ""),
        *lies.lies_told([1], rehearsing.FLOORS, lies.LIES[:1], ""),
    )
    for one in some:
        with_user_activities(one.trial.errand, {}, one.trial.given)
    assert {one.device for one in lies.LIES} == {"counts", "heading", "range", "camera", "gripper", "battery"}


def test_a_file_of_rows_goes_on_where_it_was(lies, rehearsing, tmp_path):
    into = tmp_path / "rows.jsonl"
    trials = [Trial(0, "", ROOT / "tools/honesty/floors/walled.yaml", seed, Given({}, ("at 1 s: stop pressed",)))
              for seed in (1, 2)]  # fmt: skip
    tasks = [lies.Told(trial, lies.LIES[0], 0.5) for trial in trials]
    first = list(rehearsing.Runs(into, lies.Row).rows(tasks[:1], lies.tell, 1))
    into.write_text(into.read_text() + '{"command": "cut o')
    both = list(rehearsing.Runs(into, lies.Row).rows(tasks, lies.tell, 1))
    assert both[0] == first[0]
    assert len(into.read_text().splitlines()) == 3
    assert len({row.command for row in both}) == 2
    assert all(row.verdict == "stop" for row in both)
    into.write_text(json.dumps({"program": "another"}) + "\n")
    with pytest.raises(UserError, match="of another program"):
        list(rehearsing.Runs(into, lies.Row).rows(tasks, lies.tell, 1))


def quiet(false_alarms, *faults):
    given = Given(false_alarms.ON_MILD, (*faults, "at 3 s: stop pressed"))
    return false_alarms.listen(false_alarms.Quiet(Trial(0, "", false_alarms.ERRAND, 1, given), "mild", True))


def test_an_alarm_on_a_quiet_errand_is_told_with_its_command(false_alarms):
    row = quiet(false_alarms)
    [(at_s, what, _)] = row.alarms
    assert (round(at_s), what) == (3, "stop")
    alarm, command = false_alarms.told([row])
    assert alarm.startswith("mild, at 3.0 s: stop: stop was pressed")
    assert command.strip() == row.command
    _, line = false_alarms.table([row, replace(row, alarms=[], is_success=True)])
    assert " ".join(line.split()) == "mild 0 0 0 2 1 1"


def test_the_quiet_errands_are_two_floors_and_eight_robots_full_and_short(false_alarms):
    from rover.session.assembly import with_user_activities

    errands = list(false_alarms.quiet_errands(false_alarms.CASES, 1, 2, 1, ""))
    assert len(errands) == 10 * 3
    for one in errands[::3] + errands[1::3]:
        bench = with_user_activities(one.trial.errand, {}, one.trial.given)[0].bench
        assert bench.jar_count == (1 if one.is_short else 9)


def found(ellipses, factor, alike=0.0, benches=4, runs=40, finds=6):
    """Return rows of a robot whose errors are so many times as large as it says, and in a run partly alike."""
    draws = Random(1)

    def run():
        common = [draws.gauss(0.0, math.sqrt(alike)) for _ in "xy"]
        each = ([one + draws.gauss(0.0, math.sqrt(1.0 - alike)) for one in common] for _ in range(finds))
        return [factor**2 * (x * x + y * y) for x, y in each]

    rows = []
    for bench in range(1, benches + 1):
        for number in range(runs):
            squares = run()
            errors = [0.02 * math.sqrt(square) for square in squares]
            rows.append(
                ellipses.Row(f"run {bench}/{number}", bench, {"bench.floor.slip": f"{bench} %"}, squares, errors)
            )
    return rows


def test_an_honest_robot_is_found_honest_and_a_liar_is_not(ellipses, capsys):
    assert ellipses.show(found(ellipses, 1.0)) == 0
    assert "OUTSIDE" not in capsys.readouterr().out
    assert ellipses.show(found(ellipses, 1.6)) == 1  # too sure
    assert capsys.readouterr().out.count("OUTSIDE") == 5
    assert ellipses.show(found(ellipses, 0.5)) == 1  # too timid: only the median shows it on so few


def test_finds_of_one_run_that_err_alike_tell_less(ellipses):
    def width(alike):
        share = ellipses.inside([row.squares for row in found(ellipses, 1.0, alike)])
        return share.high - share.low

    assert width(0.95) > 1.6 * width(0.0)
    apart = [[square] for row in found(ellipses, 1.0) for square in row.squares]
    share = ellipses.inside(apart)
    within = sum(square <= 5.991 for (square,) in apart)
    from rover.trials.statistics import wilson

    assert share == pytest.approx(wilson(within, len(apart)), abs=0.002)


def test_the_squared_distance_is_that_of_the_ellipse(ellipses):
    from rover.record.run import TrueFind

    find = Find(1, "amber", 1.0, 2.0, 0.02**2, 0.0, 0.05**2)
    assert ellipses.squared_distance(find, TrueFind(1, 1.02, 2.05)) == pytest.approx(2.0)
    turned = Find(1, "amber", 0.0, 0.0, 0.05, 0.04, 0.05)  # variances 0.09 along (1, 1) and 0.01 across
    assert ellipses.squared_distance(turned, TrueFind(1, 0.3, 0.3)) == pytest.approx(0.18 / 0.09)
    assert ellipses.squared_distance(turned, TrueFind(1, 0.1, -0.1)) == pytest.approx(0.02 / 0.01)


def test_a_run_on_a_drawn_bench_tells_of_its_finds(ellipses):
    from rover.files.load import load
    from rover.trials.draws import draws

    drawn = list(draws(load(ROOT / "tools/honesty/benches.yaml", "ranges").model, 2, 1))
    errand = ROOT / "tools/honesty/floors/walled.yaml"
    first, second, third, fourth = ellipses.planned(errand, drawn, 2, 5, "")
    assert [one.bench for one in (first, second, third, fourth)] == [1, 1, 2, 2]
    assert [one.trial.seed for one in (first, second, third, fourth)] == [5, 6, 7, 8]
    assert first.trial.given == second.trial.given != third.trial.given
    row = ellipses.find_all(first)
    assert (row.error, row.bench) == ("", 1)
    assert len(row.squares) == len(row.errors_m) >= 1
    assert 0.0 < max(row.errors_m) < 1.0


def test_robots_that_bring_too_little_or_count_too_much_are_told(grips):
    good = [grips.Row(f"run {n}", "camera", 9, 9, 9, "done") for n in range(20)]
    assert list(grips.wrong(good)) == []
    short = [grips.Row("run 1", "echo", 9, 7, 8, "failed"), grips.Row("run 2", "echo", 9, 9, 9, "done")]
    assert list(grips.wrong([*good, *short])) == ["by echo: less than 95% delivered"]
    sure = grips.Row("run 3", "switch", 20, 20, 19, "done")
    assert list(grips.wrong([sure])) == ["by switch: counted 20, and 19 are there", "    run 3"]
    rows = list(grips.table([*good, *short, sure]))
    assert " ".join(rows[2].split()) == "echo 2 18 88.9 % (54.4 to 98.2 %) 0 1"
    assert rows[3].split()[-2:] == ["1", "0"]


def test_what_a_robot_brought_is_held_against_what_is_there(grips):
    given = Given({"bench.scatter": {"amber": 1}, "errand.expect": 1}, ("at 5 s: stop pressed",))
    trial = Trial(0, "", ROOT / "tools/honesty/floors/walled.yaml", 1, given)
    row = grips.fetch(grips.ByEvidence(trial, "camera"))
    assert (row.objects, row.counted, row.there, row.result) == (1, 0, 0, "stopped")
