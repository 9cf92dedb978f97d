"""Outputs of one's own in the step: set by states and activities, renewed, and at rest when the robot may not move."""

import pytest

from rover.activities.activity import Activity
from rover.activities.registry import ACTIVITIES
from rover.behaviour.vocabulary import ActivitySpec
from rover.core import Action
from rover.events import Note
from rover.files.problems import FileProblems
from rover.motion.request import Request

LAMP = {"lamp": {"driver": "my_lab.lamp:Lamp", "rest": "0 %"}, "siren": {"driver": "my_lab.siren:Siren", "rest": False}}
SIGNALLING = """
behaviour: Signal
start: light
states:
  light: {does: set_outputs, with: {lamp: 60 %, siren: yes}, exits: [{when: done, go: wait}, {after: 1 s, go: over}]}
  wait: {does: stand_still, exits: [{after: 2 s, go: dark}]}
  dark: {does: set_outputs, with: {lamp: 0 %}, exits: [{when: done, go: on}, {after: 1 s, go: over}]}
  on: {does: stand_still, exits: [{after: 60 s, go: over}]}
  over: {final: failed}
"""
OWN = """
behaviour: Glow
start: glow
states:
  glow: {does: glow, exits: [{when: done or failed, go: over}, {after: 60 s, go: over}]}
  over: {final: done}
"""


class Glow(Activity):
    """Makes the lamp brighter step by step."""

    spec = ActivitySpec("glow")

    def __init__(self, known, values):
        self.level = 0.0

    def step(self, known):
        self.level += 0.25
        return Request(outputs={"lamp": self.level})


def values(record):
    return {name: command.value for name, command in record.outputs}


def test_a_state_sets_them_and_they_keep_their_values(stepping):
    robot = stepping(SIGNALLING, outputs=LAMP)
    assert values(robot.steps(0.1)[-1]) == {"lamp": 0.6, "siren": True}
    assert values(robot.steps(1.0)[-1]) == {"lamp": 0.6, "siren": True}
    assert values(robot.steps(1.5)[-1]) == {"lamp": 0.0, "siren": True}


def test_the_core_renews_each_in_every_step(stepping):
    robot = stepping(SIGNALLING, outputs=LAMP)
    records = robot.steps(0.5)
    ends = [dict(record.outputs)["lamp"].expires_ns - record.now_ns for record in records]
    assert set(ends) == {250_000_000}
    assert len({dict(record.outputs)["lamp"].sequence for record in records}) == len(records)


def test_an_activity_of_ones_own_sets_them_by_its_request(stepping):
    robot = stepping(OWN, {**ACTIVITIES, "glow": Glow}, outputs=LAMP)
    assert [values(record)["lamp"] for record in robot.steps(0.08)] == [0.25, 0.5, 0.75, 1.0]


def test_one_that_the_robot_lacks_fails_the_activity(stepping):
    class Wrong(Glow):
        def step(self, known):
            return Request(outputs={"lmap": 1.0})

    robot = stepping(OWN, {**ACTIVITIES, "glow": Wrong}, outputs=LAMP)
    records = robot.steps(0.1)
    notes = [event.text for record in records for event in record.events if isinstance(event, Note)]
    assert any("the robot has no output 'lmap'; did you mean 'lamp'?" in text for text in notes)
    assert records[-1].ending is not None


def test_a_value_that_may_not_be_known_needs_an_exit_for_it(stepping):
    floor = {"driver": "my_lab.line:LineSensor", "signals": {"shade": "%"}}
    dimmed = SIGNALLING.replace("lamp: 60 %", "lamp: floor.shade")
    with pytest.raises(FileProblems, match="'set_outputs' can fail, but no exit takes that"):
        stepping(dimmed, outputs=LAMP, devices={"floor": floor})
    caught = dimmed.replace("{when: done, go: wait}", "{when: done, go: wait}, {when: failed, go: over}")
    robot = stepping(caught, outputs=LAMP, devices={"floor": floor})
    assert robot.steps(0.1, floor={"shade": None})[-1].ending.result == "failed"


@pytest.mark.parametrize("act", ["stop", "hold", "lapse"])
def test_all_go_to_rest_in_the_step_in_which_the_robot_may_move_no_more(stepping, act):
    robot = stepping(SIGNALLING, outputs=LAMP)
    robot.steps(0.5)
    assert values(robot.step(Action(act))) == {"lamp": 0.0, "siren": False}


def test_after_a_hold_the_state_sets_them_again(stepping):
    robot = stepping(SIGNALLING, outputs=LAMP)
    robot.steps(0.05)
    robot.step(Action("hold"))
    assert values(robot.steps(0.2)[-1]) == {"lamp": 0.0, "siren": False}
    robot.step(Action("resume"))
    assert values(robot.steps(0.1)[-1])["siren"] is False  # `wait` is entered afresh, and sets nothing


def test_each_change_is_noted_once(stepping):
    robot = stepping(SIGNALLING, outputs=LAMP)
    records = robot.steps(3.0)
    notes = [
        event.text
        for record in records
        for event in record.events
        if isinstance(event, Note) and event.kind == "output"
    ]
    assert notes == ["lamp: 0.6", "siren: yes", "lamp: 0"]


def test_a_robot_without_any_is_told_nothing(stepping):
    assert stepping().step().outputs == ()
