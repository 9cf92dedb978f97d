"""What is thought of a rehearsal in which a device was lost: what shows each rule, and what just does not."""

from dataclasses import replace
from pathlib import Path

import pytest

from rover.record.run import TrueFigures
from rover.trials.verdict import DONE, ENDED, RULES, STOPPED, WRONG, Motion, Observed, judge, table

TRUTH = TrueFigures(3, 3, 0, 0, 0, 0, 0, 0.0, 0, 0, 0.0, 0.0, 40.0)
WELL = Observed(
    *("done", "all_in"),
    is_success=True,
    is_clean=True,
    counted=3,
    truth=TRUTH,
    lost_s=20.0,
    ended_s=140.0,
    motion=Motion(139.5),
)
FAILED = replace(
    WELL,
    result="failed",
    reason="some_left",
    is_success=False,
    is_clean=False,
    counted=2,
    truth=replace(TRUTH, delivered=2),
)
STOPPED_WELL = replace(FAILED, result="stopped", reason="stalled too often", stopped_s=30.0, ended_s=30.0)


def test_an_errand_that_is_brought_home_is_done() -> None:
    assert judge(WELL) == (DONE, "", "done (all_in) after 2:00", 120.0)
    assert judge(WELL).short == "done 2:00"


def test_one_that_gives_up_has_ended_safely_and_it_is_said_how_long_it_stood() -> None:
    verdict = judge(replace(FAILED, ended_s=2720.0, motion=Motion(21.0)))
    assert verdict.outcome == ENDED
    assert verdict.words == (
        "failed (some_left) after 45:00; the wheels at rest for the last 44:59 of it; 2 of 3 in the tray"
    )


def test_a_stop_is_safe_and_its_time_is_from_the_loss_on() -> None:
    verdict = judge(replace(STOPPED_WELL, stopped_s=22.4, ended_s=22.4))
    assert (verdict.outcome, verdict.short) == (STOPPED, "stopped 2.4 s")


@pytest.mark.parametrize(
    ("kind", "wrong", "just_not"),
    [
        ("error", replace(WELL, error="Traceback ...\nKeyError: 'jaws'"), WELL),
        ("no end", replace(FAILED, result="stopped", reason="the rehearsal's time limit"), STOPPED_WELL),
        ("moved", replace(STOPPED_WELL, motion=Motion(after_stop_s=0.1)), STOPPED_WELL),
        ("moved", replace(FAILED, motion=Motion(rolled_m=0.021)), replace(FAILED, motion=Motion(rolled_m=0.019))),
        ("moved", replace(WELL, motion=Motion(without_s=0.1)), WELL),
        (
            "moved",
            replace(WELL, motion=Motion(fastest_without_m_s=0.19)),
            replace(WELL, motion=Motion(fastest_without_m_s=0.17)),
        ),
        (
            "outside",
            replace(WELL, truth=replace(TRUTH, outside_s=0.4, farthest_outside_m=0.021)),
            replace(WELL, truth=replace(TRUTH, outside_s=0.4, farthest_outside_m=0.019)),
        ),
        ("bumped", replace(WELL, bumps=(0.1, 0.19)), replace(WELL, bumps=(0.1, 0.17))),
        ("counted", replace(FAILED, counted=3), FAILED),
        ("counted", replace(WELL, truth=replace(TRUTH, empty_deliveries=1)), WELL),
        ("counted", replace(FAILED, result="done", is_clean=True), replace(FAILED, result="done")),
    ],
)
def test_each_rule_tells_wrong_from_just_not_wrong(kind: str, wrong: Observed, just_not: Observed) -> None:
    assert (judge(wrong).outcome, judge(wrong).kind) == (WRONG, kind)
    assert judge(just_not).outcome != WRONG


def test_every_rule_can_fail() -> None:
    """The cases above show each rule of the table by itself."""
    shown = [
        replace(WELL, error="E"),
        replace(FAILED, result="stopped"),
        replace(STOPPED_WELL, motion=Motion(after_stop_s=0.1)),
        replace(FAILED, motion=Motion(rolled_m=1.0)),
        replace(WELL, motion=Motion(without_s=1.0)),
        replace(WELL, motion=Motion(fastest_without_m_s=1.0)),
        replace(WELL, truth=replace(TRUTH, farthest_outside_m=1.0)),
        replace(WELL, bumps=(1.0,)),
        replace(WELL, truth=replace(TRUTH, empty_deliveries=1)),
        replace(FAILED, result="done", is_clean=True),
    ]
    assert [[bool(rule.shows(seen)) for rule in RULES].index(True) for seen in shown] == list(range(len(RULES)))
    assert not any(rule.shows(WELL) for rule in RULES)


def test_all_that_is_wrong_is_said_and_the_worst_names_it() -> None:
    verdict = judge(replace(STOPPED_WELL, counted=3, bumps=(0.4,), motion=Motion(29.0, rolled_m=1.5)))
    assert verdict.kind == "moved"
    assert verdict.words == (
        "went 1.50 m with the wheels commanded zero; ran into something at 0.40 m/s; "
        "counted 3 delivered, and 2 are there; stopped (stalled too often) after 10.0 s; 2 of 3 in the tray"
    )


def test_a_slow_bump_is_told_and_not_wrong() -> None:
    assert judge(replace(WELL, bumps=(0.08, 0.12))).words.endswith("; bumps: 2, at up to 0.12 m/s")


def test_where_nobody_knows_the_truth_what_is_known_is_judged() -> None:
    assert judge(replace(WELL, truth=None)).outcome == DONE
    assert judge(replace(WELL, truth=None, motion=Motion(without_s=1.0))).outcome == WRONG


def test_the_rules_stand_in_the_docs() -> None:
    """Where this fails, ``python -m rover.trials.verdict`` prints them."""
    assert table() in (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
