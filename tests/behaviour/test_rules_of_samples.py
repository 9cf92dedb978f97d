"""The rules of the behaviour language, R5 to R7, each by small behaviours that read as examples."""

import pytest
from small_behaviours import leaving_by


def test_r05_no_confirmation_is_one_sample_after_entry(run_of):
    """What was seen before the entry does not count, however often the loop looks."""
    run = run_of(leaving_by("{when: target.seen, go: b}"), target_seen=True, camera_n=7)
    assert run.steps(3) == ["a", "a", "a"]
    assert run.report("camera").step() == "b"


def test_r05_the_slowest_device_sets_the_pace(run_of):
    run = run_of(leaving_by("{when: target.seen and range.echo, confirm: 2 of 2, go: b}"))
    run.set(target_seen=True, range_echo=True)
    for _ in range(4):
        assert run.report("range").step() == "a"
    assert run.report("camera").step() == "a"  # first sample
    assert run.report("camera").step() == "a"  # the range finder has not reported since
    assert run.report("range").step() == "b"  # both have: second sample


def test_r05_without_a_device_every_step_is_a_sample(run_of):
    run = run_of(leaving_by("{when: target.known, confirm: 3 of 3, go: b}"))
    run.set(target_known=True)
    assert run.steps(3) == ["a", "a", "b"]


@pytest.mark.parametrize(
    ("frames", "fires_at"),
    [
        ("111", 3),
        ("10101", 5),
        ("11001", 5),
        ("1100011", None),
        ("110001000111", 12),
        ("0000", None),
        ("1001010", None),
    ],
)
def test_r05_three_of_five_fires_at_the_third_true_one_of_the_last_five(run_of, frames, fires_at):
    run = run_of(leaving_by("{when: target.seen, confirm: 3 of 5, go: b}"))
    paths = [run.report("camera", target_seen=frame == "1").step() for frame in frames]
    assert ([*paths, "b"].index("b") + 1 if "b" in paths else None) == fires_at


def test_r05_for_is_measured_between_taken_at_times(run_of):
    """Ten seconds of steps say nothing: the frames were taken 1.9 s, then 2 s apart."""
    run = run_of(leaving_by("{when: target.seen, confirm: for 2 s, go: b}"))
    assert run.report("camera", taken=0.5, target_seen=True).step() == "a"
    assert run.step(10.0) == "a"
    assert run.report("camera", taken=2.4).step() == "a"
    assert run.report("camera", taken=2.5).step() == "b"


def test_r05_for_takes_the_later_time_where_two_devices_make_a_sample(run_of):
    run = run_of(leaving_by("{when: target.seen and range.echo, confirm: for 2 s, go: b}"), target_seen=True)
    run.report("camera", taken=1.0).report("range", taken=1.5, range_echo=True).step()
    assert run.report("camera", taken=3.4).report("range", taken=3.0).step() == "a"
    assert run.report("camera", taken=3.4).report("range", taken=3.5).step() == "b"


def test_r05_a_false_sample_starts_for_again(run_of):
    run = run_of(leaving_by("{when: target.seen, confirm: for 2 s, go: b}"))
    run.report("camera", taken=1.0, target_seen=True).step()
    run.report("camera", taken=2.0, target_seen=False).step()
    run.report("camera", taken=2.5, target_seen=True).step()
    assert run.report("camera", taken=4.4).step() == "a"
    assert run.report("camera", taken=4.5).step() == "b"


@pytest.mark.parametrize("unknown", [{"range_ok": False}, {"range_distance": float("nan")}])
def test_r05_an_unknown_sample_starts_for_again(run_of, unknown):
    run = run_of(leaving_by("{when: range.distance < 1 m, confirm: for 2 s, go: b}"))
    run.report("range", taken=1.0, range_distance=0.5).step()
    run.report("range", taken=2.0, **unknown).step()
    run.set(range_ok=True)
    run.report("range", taken=2.5, range_distance=0.5).step()
    assert run.report("range", taken=4.4).step() == "a"
    assert run.report("range", taken=4.5).step() == "b"


def test_r05_confirmations_that_cannot_be_are_refused(problems_of):
    for text in ("4 of 3", "0 of 3", "three of five", "for 0 s", "for 3", "for battery.volts"):
        assert problems_of(leaving_by(f"{{when: target.seen, confirm: {text}, go: b}}")), text


def test_r06_between_when_and_until_the_last_answer_stands(run_of):
    """Near below 20 cm, until beyond 40 cm; 30 cm counts as what came last. The answer feeds the confirmation."""
    run = run_of(leaving_by("{when: range.distance < 20 cm, until: range.distance > 40 cm, confirm: 3 of 3, go: b}"))
    for distance in (0.3, 0.3, 0.3, 0.1, 0.3, 0.5, 0.3, 0.3, 0.3, 0.1, 0.3):
        assert run.report("range", range_distance=distance).step() == "a"
    assert run.report("range", range_distance=0.39).step() == "b"


def test_r06_until_can_read_another_device_which_then_sets_the_pace_too(run_of):
    run = run_of(leaving_by("{when: target.seen, until: range.distance > 40 cm, go: b}"))
    assert run.report("camera", target_seen=True).step() == "a"
    assert run.report("range", range_distance=1.0).step() == "b"


@pytest.mark.parametrize(
    "condition", ["range.distance < 1 m", "not range.distance < 1 m", "range.echo or target.known"]
)
def test_r07_a_condition_over_a_device_that_is_not_ok_does_not_fire(run_of, condition):
    """Neither it, nor its negation, nor with an 'or' beside it."""
    run = run_of(leaving_by(f"{{when: {condition}, go: b}}"))
    run.set(range_ok=False, target_known=True)
    for distance in (0.5, 1.5):
        assert run.report("range", range_distance=distance, range_echo=True).step() == "a"


def test_r07_a_report_of_a_device_that_is_not_ok_is_no_sample(run_of):
    run = run_of(leaving_by("{when: target.seen, confirm: 2 of 2, go: b}"))
    run.report("camera", target_seen=True).step()
    run.set(camera_ok=False)
    run.report("camera", target_seen=False).step()
    run.set(camera_ok=True)
    assert run.report("camera", target_seen=True).step() == "b"


def test_r07_ok_is_always_known_and_reads_nothing(run_of):
    run = run_of(leaving_by("{when: not camera.ok, go: b}"))
    assert run.step() == "a"
    run.set(camera_ok=False)
    assert run.step() == "b"


@pytest.mark.parametrize(
    "condition", ["range.distance < 1 m", "not range.distance < 1 m", "range.distance < 1 m or target.known"]
)
def test_r07_not_a_number_is_unknown_and_counted(run_of, condition):
    run = run_of(leaving_by(f"{{when: {condition}, go: b}}"), target_known=True)
    assert run.report("range", range_distance=float("nan")).step() == "a"
    assert run.step() == "a"  # no new report, so nothing is counted
    assert run.engine.unknowns == 1


@pytest.mark.parametrize(
    "condition", ["1 / objects.left > 0", "not 1 / objects.left > 0", "target.known or 1 / objects.left > 0"]
)
def test_r07_division_by_zero_is_unknown_and_counted(run_of, condition):
    run = run_of(leaving_by(f"{{when: {condition}, go: b}}"), target_known=True)
    assert run.steps(2) == ["a", "a"]
    assert run.engine.unknowns == 2


@pytest.mark.parametrize(
    ("condition", "values"),
    [
        ("objects.left * 1e200 * 1e200 * jaws.opening > 1", {"objects_left": 3, "jaws_opening": 1.0}),
        ("wrap(pose.heading * 1e200 * 1e200) > 0 deg", {"pose_heading": 1.0}),
    ],
)
def test_r07_numbers_beyond_all_bounds_are_unknown(run_of, condition, values):
    run = run_of(leaving_by(f"{{when: {condition}, go: b}}"), **values)
    assert run.report("gripper").step() == "a"
    assert run.engine.unknowns == 1


@pytest.mark.parametrize(
    "condition", ["not min(objects.left, jaws.opening) > 0", "not max(objects.left, jaws.opening) > 0"]
)
def test_r07_not_a_number_is_unknown_beside_a_whole_number(run_of, condition):
    run = run_of(leaving_by(f"{{when: '{condition}', go: b}}"))
    assert run.report("gripper", jaws_opening=float("nan")).step() == "a"


def test_r05_a_report_taken_before_entry_is_no_sample_although_it_comes_after(run_of):
    """A frame is late: what it shows was so before the state was entered."""
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, exits: [{after: 1 s, go: b}]}
  b: {does: stand_still, exits: [{when: target.seen, go: c}]}
  c: {does: stand_still}
"""
    )
    run.set(step_ns=1_000_000_000)
    run.step(1.0)
    assert run.path == "b"

    assert run.report("camera", taken=0.95, target_seen=True).step() == "b"
    assert run.report("camera", taken=1.05).step() == "c"
