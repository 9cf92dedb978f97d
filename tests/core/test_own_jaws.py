"""Jaws with a driver of one's own: after a stop the core does what `on_stop` says, since no guard does."""

import pytest

from rover.core import Action

OPENING = """
behaviour: Close
start: close
states:
  close: {does: close_jaws, exits: [{when: done or failed, go: wait}, {after: 4 s, go: wait}]}
  wait: {does: stand_still, exits: [{after: 60 s, go: over}]}
  over: {final: done}
"""


def gripper(driver, on_stop):
    return {"gripper": {"driver": driver, "feedback": "none", "on_stop": on_stop}}


@pytest.mark.parametrize(("on_stop", "opening"), [("hold", 0.0), ("release", 1.0), ("limp", None)])
def test_after_a_stop_own_jaws_do_as_the_robot_file_says(stepping, on_stop, opening):
    robot = stepping(OPENING, devices=gripper("my_lab.grip:Jaws", on_stop))
    assert robot.steps(2.0)[-1].jaws.opening == 0.0
    assert robot.step(Action("stop")).jaws.opening == opening
    assert robot.steps(1.0)[-1].jaws.opening == opening


def test_in_a_hold_they_stay_as_they_were(stepping):
    robot = stepping(OPENING, devices=gripper("my_lab.grip:Jaws", "release"))
    robot.steps(2.0)
    assert robot.step(Action("hold")).jaws.opening == 0.0


def test_those_that_the_guard_holds_are_left_to_it(stepping):
    robot = stepping(OPENING, devices=gripper("simulated", "release"))
    robot.steps(2.0)
    assert robot.step(Action("stop")).jaws.opening == 0.0
