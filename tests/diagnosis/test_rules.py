"""Each rule speaks for its example, and for nothing that is a matter of course."""

from dataclasses import replace
from pathlib import Path

import pytest

from rover.diagnosis.evidence import Evidence
from rover.diagnosis.rules import MOST, RULES, found_in, table
from rover.events import Event, Find, GivenUp, Health, HealthChange, HoldBack, Note, ObjectEvent, StateChange, Stop
from rover.record.run import RecordedRun, TrueFigures

HEALTHY = {
    "way / m": 90.6,
    "slips": 204.0,
    "travel scale": 0.979,
    "track factor": 1.51,
    "moved by first fixes / m": 0.05,
    "heading noise factor": 0.5,
    "objects shown": 1235.0,
    "objects missed": 278.0,
    "heading heard": 3182.0,
    "heading refused": 44.0,
    "wall north heard": 40.0,
    "wall north unheard": 6.0,
    "wall north refused": 1.0,
    "wall north beyond / m": -0.006,
    "wall south heard": 61.0,
    "wall south refused": 1.0,
    "wall south beyond / m": -0.001,
    "marker's distance heard": 1306.0,
    "marker's distance refused": 19.0,
    "marker's bearing heard": 1306.0,
    "marker's bearing refused": 10.0,
    "frames with amber": 1819.0,
    "frames with teal": 2128.0,
    "camera reports": 6014.0,
    "camera reports / due": 1.0,
    "camera age / s": 0.12,
    "left duty / right duty": 1.04,
    "lowest rest / V": 12.24,
    "rest spread / V": 0.004,
}
"""Figures of a rehearsal of the demo."""


def stop(cause: str) -> list[Event]:
    return [Stop(cause)]


def failed(why: str, often: int = 1) -> list[Event]:
    return [StateChange("", "a", "start", "")] + often * [Note("activity", f"a failed: {why}")]


def last_exit(text: str, values: dict[str, object]) -> list[Event]:
    return [StateChange("", "a", "start", ""), StateChange("a", "home", text, "b.yaml:3", values)]


CHOSEN = [ObjectEvent(1, "teal", "chosen", 1.0, 1.0)]
EXAMPLES: list[tuple[str, str, list[Event], dict[str, float]]] = [
    ("wrong way round", "left motor or encoder", stop("the left side turns against its duty: is something"), {}),
    ("one side's counts", "right encoder", stop("the right side counts nothing, and no heading tells"), {}),
    (
        "one side's counts",
        "left encoder",
        [HealthChange("counts", Health.DOUBTED, "the left side counts nothing, and the heading turns as if it drove")],
        {},
    ),
    ("both sides' counts", "encoders", stop("both sides count 2.0 times what their motors can do"), {}),
    ("driven without a duty", "motor driver", stop("wheels turn though their motors are given nothing"), {}),
    (
        "heading against counts",
        "heading, or wheels that slip",
        stop("the heading turns by 40 deg, the counts by 9"),
        {},
    ),
    ("position lost", "position", stop("the position is sure to 0.6 m only"), {}),
    ("stop input", "stop input", stop("the stop input is open"), {}),
    ("held back or stalled too often", "something in the way", stop("stalled too often"), {}),
    ("an actuator's driver", "gripper", stop("gripper: its driver raised OSError"), {}),
    ("doubted", "heading", [HealthChange("heading", Health.DOUBTED, "stays while the counts turn")], {}),
    ("lost", "camera", [Note("a", ""), HealthChange("camera", Health.OVERDUE, "")], {}),
    ("lost", "battery", [HealthChange("battery", Health.FAULTY, "its driver raised ValueError: no answer")], {}),
    (
        "lost",
        "link main",
        [
            Note("a", ""),
            HealthChange("counts", Health.OVERDUE, ""),
            HealthChange("battery", Health.OVERDUE, ""),
            *[Note("a", "")] * 5,
            HealthChange("counts", Health.OK, ""),
            HealthChange("battery", Health.OK, ""),
        ],
        {},
    ),
    ("few reports", "heading", [], {"heading reports": 900.0, "heading reports / due": 0.6}),
    ("old reports", "camera", [], {"camera age / s": 0.4}),
    ("noisy heading", "heading", [], {"heading noise factor": 2.0}),
    ("heading refused", "heading", [], {"heading refused": 400.0}),
    ("walls elsewhere", "wall north of the map", [], {"wall north beyond / m": 0.2}),
    ("walls elsewhere", "range, or walls of the map", [], {"wall north beyond / m": 0.2, "wall south beyond / m": 0.1}),
    ("walls elsewhere", "marker, or walls of the map", [], {"wall north beyond / m": 0.2, "wall south refused": 40.0}),
    (
        "walls elsewhere",
        "range",
        [],
        {
            f"wall {one} {what}": by
            for one in ("north", "south")
            for what, by in (("refused", 30.0), ("refused off / m", 0.9))
        },
    ),
    ("marker's distance refused", "marker, or camera", [], {"marker's distance refused": 200.0}),
    ("marker's bearing refused", "marker, or camera", [], {"marker's bearing refused": 200.0}),
    ("way", "wheel diameter or counts", [], {"travel scale": 0.9}),
    ("track", "track", [], {"track factor": 2.5}),
    ("slip", "wheels", [], {"slips": 4000.0}),
    ("uneven sides", "left motor", [], {"left duty / right duty": 1.6}),
    ("uneven sides", "right motor", [], {"left duty / right duty": 0.6}),
    ("no echoes", "range", [], {"wall north unheard": 120.0}),
    ("objects missed", "camera", [], {"objects missed": 1000.0}),
    ("kind never seen", "amber", [*CHOSEN], {"frames with amber": 12.0}),
    ("restless battery", "battery", [], {"rest spread / V": 0.3}),
    ("empty battery", "battery", [], {"lowest rest / V": 10.3}),
    (
        "ended by a device's exit",
        "battery",
        last_exit("when battery.rest_volts < 10.2 V", {"battery.rest_volts": 10.1}),
        {},
    ),
    ("ended by time", "setting longest", last_exit("after settings.longest", {}), {}),
    (
        "held back for want of a device",
        "heading",
        [HoldBack("heading missing"), *last_exit("when motion.held_back_for > 1 min", {"motion.held_back_for": 61.0})],
        {},
    ),
    (
        "held back by the way",
        "range, or something in the way",
        [HoldBack("obstacle"), *last_exit("when motion.held_back_for > 1 min", {"motion.held_back_for": 61.0})],
        {},
    ),
    ("tray full", "tray", last_exit("when done and slots.free == 0", {"slots.free": 0}), {}),
    (
        "grips",
        "gripper",
        [ObjectEvent(1, "teal", "gripped", 1.0, 1.0)] * 5 + [Find(1, "teal", 1.0, 1.0, 0.0, 0.0, 0.0)],
        {},
    ),
    (
        "lost on the way",
        "gripper",
        [Find(1, "teal", 1.0, 1.0, 0.0, 0.0, 0.0), *[GivenUp("teal", 1.0, 1.0, "lost on the way")] * 2],
        {},
    ),
    ("not let go", "gripper", failed("it stays in the jaws, though they were opened"), {}),
    ("nothing set down", "gripper, or camera", failed("nothing stands where it was set down"), {}),
    (
        "out of reach",
        "where object 4 stands",
        [GivenUp("teal", 5.9, 3.9, "put off: cannot be reached: no way", 4)],
        {},
    ),
    ("no way", "something in the way", failed("found no way round what stands in between", 3), {}),
    ("targets gone", "camera", failed("the target is gone", 3), {}),
    ("position too unsure", "position", failed("the position is too unsure: it could be set down beside"), {}),
    ("no fix", "marker of the map", failed("the marker was not sighted where it should be", 2), {}),
    ("wrong start", "start", [], {"moved by first fixes / m": 0.3}),
    ("moved by a fix", "position", [Note("fix", "by a wall: from x 1.0 m, y 1.0 m to x 1.2 m, y 1.0 m, sigma")], {}),
    ("met", "something in the way", [Note("met", "something touched at x 2.80 m, y 1.09 m")], {}),
    (
        "stalled",
        "something in the way, or the motors",
        [Note("a", "")] * 4 + [HoldBack("stalled"), HoldBack("stalled", ended=True)] * 4,
        {},
    ),
    ("obstacle", "range, or something in the way", [Note("a", ""), HoldBack("obstacle")], {}),
    ("code of one's own", "activity of seek", [Note("fault", "activity of 'seek' raised:\nTraceback")], {}),
    ("slow computer", "computer", [Note("loop", "12 steps skipped: the computer was too slow")], {}),
    ("record", "the record's disk", [Note("fault", "a.sqlite: the run record could not be written: disk full")], {}),
]


@pytest.mark.parametrize(
    ("rule", "whom", "events", "figures"), EXAMPLES, ids=[f"{row[0]}: {row[1]}" for row in EXAMPLES]
)
def test_a_rule_speaks_for_its_example_and_no_other_does(run_of, rule, whom, events, figures):
    result = "stopped" if any(isinstance(event, Stop) for event in events) else "failed"
    found = found_in(Evidence(run_of(events, HEALTHY | figures, result=result)))
    assert [(one.rule.name, one.suspicion.whom) for one in found] == [(rule, whom)]


def test_every_rule_has_an_example():
    assert {rule.name for rule in RULES} == {row[0] for row in EXAMPLES}


def test_nobody_is_suspected_of_a_run_that_went_well(run_of):
    events = [
        HealthChange("counts", Health.OVERDUE, ""),
        HealthChange("counts", Health.OK, ""),
        HoldBack("range missing"),
    ]
    run = run_of([*events, HoldBack("range missing", ended=True)], HEALTHY, result="done", reason="all_in")
    assert found_in(Evidence(run)) == []


def test_what_is_not_known_is_not_suspected(run_of):
    cut = replace(run_of([]), outcome=None)
    assert found_in(Evidence(run_of([]))) == found_in(Evidence(cut)) == []


def test_the_gravest_are_told_and_no_more_than_a_few(run_of):
    figures = {
        "heading refused": 400.0,
        "slips": 4000.0,
        "rest spread / V": 1.0,
        "travel scale": 0.8,
        "track factor": 4.0,
    }
    found = found_in(Evidence(run_of(stop("the stop input is open"), HEALTHY | figures, result="stopped")))
    assert len(found) == MOST
    assert found[0].suspicion.whom == "stop input"


def test_the_rules_look_at_nothing_that_a_robot_could_not_record(run_of):
    run: RecordedRun = run_of(stop("stalled too often"), HEALTHY | {"slips": 4000.0}, result="stopped")
    truth = TrueFigures(9, 0, 9, 9, 9, 9, 9, 1.0, 9, 9, 99.0, 9.0, 99.0)
    bench = {"file:bay.yaml": "bench: Bay\nfaults: ['at 1 s: heading silent']", "given": '{"faults": ["camera dark"]}'}
    knowing = replace(run, truth=truth, header={**bench, **run.header})
    assert found_in(Evidence(knowing)) == found_in(Evidence(run))


def test_the_page_has_the_table():
    page = Path(__file__).parents[2].joinpath("DEVELOPERS.md").read_text("utf-8")
    assert "\n".join(table()) in page
