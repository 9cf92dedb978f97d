"""Which exits are waited for, and how far each is; rules as in behaviours/README.md."""

import math

import pytest

from rover.awaited import in_words
from rover.behaviour.vocabulary import Progress

SECOND = 1_000_000_000


def waiting(run_of, exits, always="", **signals):
    """Begin a behaviour whose start state has these exits."""
    return run_of(
        f"""
settings: {{near: 22 cm}}
start: a
always: [{always}]
states:
  a: {{does: close_in, exits: [{exits}]}}
  b: {{does: stand_still}}
  c: {{does: stand_still}}
""",
        **signals,
    )


def look(run):
    return run.engine.awaited(round(run.now * 1e9), run.signals)


def only(run):
    (one,) = look(run)
    return one


def test_an_exit_is_named_as_it_is_written_with_file_and_line_and_where_it_leads(run_of):
    one = only(waiting(run_of, "{when: target.known, go: b}"))
    assert (one.text, one.where.rpartition("/")[2], one.go, one.scope) == (
        "when target.known",
        "behaviour.yaml:7",
        "b",
        "a",
    )


def test_before_the_start_nothing_is_waited_for(engine_of):
    engine = engine_of("start: a\nstates:\n  a: {does: stand_still}")
    assert engine.awaited(0, engine._signals) == ()


def test_always_comes_first_and_is_named_where_it_is_silent(run_of):
    run = waiting(run_of, "{when: done, go: b}", "{when: objects.left == 3, go: b, except: [a, b]}", objects_left=0)
    assert [(one.scope, one.is_silent) for one in look(run)] == [("", True), ("a", False)]


@pytest.mark.parametrize(
    ("condition", "signals", "parts"),
    [
        ("range.distance < 0.3 m", {"range_distance": 0.5}, [("range.distance < 0.3 m", False, 0.5, "<", 0.3, "m")]),
        (
            "range.distance < settings.near",
            {"range_distance": 0.1},
            [("range.distance < settings.near", True, 0.1, "<", 0.22, "m")],
        ),
        (
            "10.2 V > battery.rest_volts",
            {"battery_rest_volts": 10.1},
            [("10.2 V > battery.rest_volts", True, 10.1, "<", 10.2, "V")],
        ),
        ("not target.known", {"target_known": True}, [("not target.known", False, True, "", None, "")]),
        (
            "not (target.known and objects.left == 0)",
            {"target_known": True, "objects_left": 0},
            [("not target.known", False, True, "", None, ""), ("not objects.left == 0", False, 0, "==", 0, "")],
        ),
        (
            "5 cm < range.distance < 25 cm",
            {"range_distance": 0.3},
            [
                ("5 cm < range.distance", True, 0.3, ">", 0.05, "cm"),
                ("range.distance < 25 cm", False, 0.3, "<", 0.25, "cm"),
            ],
        ),
        (
            "operator.answer == yes",
            {"operator_answer": "none"},
            [("operator.answer == yes", False, "none", "==", "yes", "")],
        ),
        ("camera.ok == true", {}, [("camera.ok == true", True, True, "==", True, "")]),
        (
            "wrap(pose.heading - 90 deg) > 0.1 rad",
            {"pose_heading": 0.0},
            [("wrap(pose.heading - 90 deg) > 0.1 rad", False, pytest.approx(-math.pi / 2), ">", 0.1, "rad")],
        ),
    ],
)
def test_each_part_has_value_comparison_and_threshold(run_of, condition, signals, parts):
    one = only(waiting(run_of, f"{{when: {condition}, go: b}}", **signals))
    assert [(p.text, p.holds, p.value, p.comparison, p.threshold, p.unit) for p in one.parts] == parts


def test_done_and_failed_are_those_of_the_state_that_has_the_exit(run_of):
    run = waiting(run_of, "{when: done or failed, confirm: 2 of 3, go: b}")
    assert [part.holds for part in only(run).parts] == [False, False]
    run.end(Progress.FAILED)
    assert [part.holds for part in only(run).parts] == [False, True]
    assert only(run).holds


class TestConfirmation:
    def test_samples_of_samples(self, run_of):
        run = waiting(run_of, "{when: target.seen, confirm: 3 of 5, go: b}", target_seen=True)
        for _ in range(2):
            run.report("camera").step()
        one = only(run)
        assert (one.confirmed, one.needed, one.of, one.holds, one.is_near) == (2, 3, 5, True, True)

    def test_seconds_of_seconds_between_samples(self, run_of):
        run = waiting(run_of, "{when: target.seen, confirm: for 2 s, go: b}", target_seen=True)
        assert only(run).confirmed == 0.0
        for _ in range(5):
            run.report("camera").step()
        assert (only(run).confirmed, only(run).needed, only(run).of) == (pytest.approx(0.4), 2.0, 0)

    def test_without_a_report_there_is_no_sample(self, run_of):
        run = waiting(run_of, "{when: target.seen, confirm: 2 of 3, go: b}", target_seen=True)
        run.steps(5)
        assert (only(run).holds, only(run).confirmed) == (True, 0)


class TestUnknown:
    def test_for_want_of_a_device_since_its_last_report(self, run_of):
        run = waiting(run_of, "{when: target.distance < 22 cm, go: b}", target_distance=0.2)
        run.report("camera", target_distance=0.5).step()
        run.set(camera_ok=False)
        run.steps(20)
        one = only(run)
        assert one.holds is None
        assert [(lack.signal, lack.device, lack.since_ns) for lack in one.lacks] == [
            ("target.distance", "camera", round(0.1 * SECOND))
        ]
        assert "not known, for want of camera (target.distance), since 2.0 s" in in_words(one, round(run.now * 1e9))

    def test_a_device_that_never_reported_is_said_to_have_never(self, run_of):
        run = waiting(run_of, "{when: target.seen, go: b}", camera_ok=False)
        assert in_words(only(run), 0) == "when target.seen: not known, for want of camera (target.seen), never reported"

    def test_for_want_of_a_value_since_the_first_sample_without(self, run_of):
        run = waiting(run_of, "{when: target.distance < 22 cm, go: b}", target_distance=float("nan"))
        for _ in range(9):
            run.set(step_ns=round((run.now + 0.1) * 1e9))
            run.report("camera").step()
        assert [(lack.device, lack.since_ns) for lack in only(run).lacks] == [("", round(0.1 * SECOND))]
        run.report("camera", target_distance=0.5).step()
        assert only(run).lacks == ()

    def test_no_other_device_is_blamed(self, run_of):
        run = waiting(run_of, "{when: target.seen and range.distance < 1 m, go: b}", range_ok=False)
        assert [lack.device for lack in only(run).lacks] == ["range"]


def test_until_keeps_the_answer_between_the_two(run_of):
    exits = "{when: range.distance < 30 cm, until: range.distance > 50 cm, confirm: 5 of 5, go: b}"
    run = waiting(run_of, exits)
    run.report("range", range_distance=0.25).step()
    run.report("range", range_distance=0.4).step()
    assert (only(run).holds, [part.holds for part in only(run).parts]) == (True, [False])


@pytest.mark.parametrize(
    ("value", "known", "near"), [(0.23, True, True), (0.3, True, False), (0.23, False, False), (0.1, False, False)]
)
def test_near_is_what_would_hold_if_the_numbers_went_a_tenth_further(run_of, value, known, near):
    condition = "range.distance < 22 cm and target.known"
    run = waiting(run_of, f"{{when: {condition}, go: b}}", range_distance=value, target_known=known)
    assert only(run).is_near is near


def test_the_time_left(run_of):
    run = waiting(run_of, "{after: 3 s, go: b}")
    run.steps(10)
    assert only(run).left_s == pytest.approx(2.0)


class TestRecorded:
    """What a change of state says of itself."""

    def test_a_way_out_by_time_names_what_was_waited_for(self, run_of):
        exits = (
            "{when: target.seen, confirm: 3 of 5, go: b}, {when: done, go: b}, {after: 1 s, go: c}, {after: 9 s, go: c}"
        )
        run = waiting(run_of, exits, "{when: objects.left == 3, go: b, except: [b]}", target_seen=True, objects_left=0)
        for _ in range(2):
            run.report("camera").step()
        run.set(camera_ok=False)
        run.steps(8)
        change = run.engine.changes[-1]
        assert (change.exit, change.entered) == ("after 1 s", "c")
        assert [(one.text, one.confirmed) for one in change.awaited] == [
            ("when target.seen confirm 3 of 5", 2),
            ("when done", 0),
        ]
        assert run.performer.time_outs == ["'a' left after 1 s, for want of camera"]

    def test_a_way_out_by_time_counts_as_a_trouble_with_what_the_first_exit_lacked(self, run_of):
        run = waiting(
            run_of, "{when: grip.held, confirm: 4 of 5, go: b}, {after: 1 s, go: c}", grip_held=False, grip_ok=True
        )
        run.steps(10)
        assert run.performer.time_outs == ["'a' left after 1 s, not grip.held"]

    def test_another_way_out_names_none_but_how_the_activity_ended(self, run_of):
        run = waiting(run_of, "{when: failed, go: c}")
        run.end(Progress.FAILED)
        run.step()
        assert (run.engine.changes[-1].outcome, run.engine.changes[-1].awaited) == ("failed: scripted to fail", ())

    def test_a_diversion_names_where_the_exit_would_have_led_and_the_tries(self, run_of):
        run = run_of(
            """
start: outer
states:
  outer:
    start: a
    states:
      a: {does: close_in, tries: {at_most: 2, go: no_luck}, exits: [{when: failed, go: a}, {after: 9 s, go: a}]}
      no_luck: {final: failed}
    exits: [{when: failed, go: end}]
  end: {final: failed}
"""
        )
        for _ in range(3):
            run.end(Progress.FAILED)
            run.step()
        diverted, ended = run.engine.changes[-2:]
        assert [(one.state, one.tries) for one in diverted.diversions] == [("outer/a", 2)]
        assert (diverted.entered, diverted.outcome) == ("outer/no_luck", "failed: scripted to fail")
        assert (ended.entered, ended.outcome) == ("end", "failed: scripted to fail")

    def test_a_graph_that_fails_for_used_up_tries_says_so_with_the_last_trouble(self, run_of):
        run = run_of(
            """
start: outer
states:
  outer:
    start: a
    states:
      a: {does: close_in, tries: {at_most: 1, go: no_luck}, exits: [{when: failed, go: back}]}
      back: {does: reverse, with: {length: 10 cm}, exits: [{when: done, go: a}]}
      no_luck: {final: failed}
    exits: [{when: failed, go: end}]
  end: {final: failed}
"""
        )
        run.end(Progress.FAILED)
        run.step()
        run.end(Progress.DONE)
        run.steps(2)
        assert run.engine.changes[-1].outcome == "failed: 1 tries of 'outer/a' used up; last: scripted to fail"
