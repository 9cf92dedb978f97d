"""What is said of the case that no process of this software outlives."""

from pathlib import Path

import pytest

from rover.files import yaml_source
from rover.files.robot import Robot
from rover.readiness.bring_up import CHECKS
from rover.readiness.finding import Verdict, table
from rover.readiness.last_way import NAME, last_way

CART = Path(__file__).parents[2] / "config" / "cart.yaml"
ON_PINS = {
    "driver": "h_bridge",
    "left": {"pwm": 0, "forward": 1, "backward": 2},
    "right": {"pwm": 1, "forward": 3, "backward": 4},
}


def robot(drive):
    values = yaml_source.read(CART, CART.name).values
    values["devices"] = {"counts": values["devices"]["counts"], "drive": drive}
    return Robot.model_validate(values)


@pytest.mark.parametrize(
    ("drive", "left", "advice"),
    [
        (
            {"driver": "co_processor", "link": "main"},
            "the co-processor's deadline alone",
            "see that its firmware has one",
        ),
        (ON_PINS, "nothing: pins keep their last duty", "name the board's 'watchdog:' under 'drive:'"),
        (
            {**ON_PINS, "watchdog": "/dev/watchdog"},
            "the hardware watchdog, some seconds later",
            "keep the hard-wired stop",
        ),
    ],
)
def test_what_is_left_is_told_for_every_way_of_wiring(drive, left, advice):
    found = last_way(robot(drive))
    assert (found.check, found.verdict, found.measured) == (NAME, Verdict.NOTED, left)
    assert advice in "".join(table([found]))


def test_bring_up_says_it_before_anything_moves():
    assert next(iter(CHECKS)) == "last_way"
