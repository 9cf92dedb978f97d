"""The rules for wiring by themselves: every swap is found and mended, and what no line mends is named."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.sides import Sides
from rover.files.robot import Robot
from rover.readiness.wheels import Diagnosis, SeenTurning, Setting, Trial, diagnose


def robot_with(drive: dict[str, bool] | None = None, counts: dict[str, bool] | None = None):
    """Return a robot whose drive and counts have these settings."""
    values = {
        "robot": "Stand",
        "body": {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
        "links": {"main": {"port": "nowhere"}},
        "devices": {
            "drive": {"driver": "co_processor", "link": "main", **(drive or {})},
            "counts": {"driver": "co_processor", "link": "main", **(counts or {})},
        },
    }
    return Robot.model_validate(values)


KEYS = ("swap_sides", "reverse_left", "reverse_right")
SETTINGS = st.fixed_dictionaries({key: st.booleans() for key in KEYS})
GOOD = (Trial("left", (400, 0)), Trial("right", (0, 410)))


class TrueWiring:
    """The true wiring: which wheel a channel turns and counts, and which way, as settings that would mend it."""

    def __init__(self, motors: dict[str, bool], encoders: dict[str, bool]) -> None:
        self.motors, self.encoders = Sides(motors), Sides(encoders)

    def trial(self, robot, side: str, *, is_seen: bool) -> Trial:
        duty = (10, 0) if side == "left" else (0, 10)
        channels = Sides(robot.devices.drive.options).to_channels(*duty)
        wheels = self.motors.from_channels(*channels)
        counted = self.encoders.to_channels(*wheels)
        reported = Sides(robot.devices.counts.options).from_channels(*(40 * each for each in counted))
        turned = "left" if wheels[0] else "right"
        return Trial(side, reported, SeenTurning((turned,), sum(wheels) > 0) if is_seen else None)

    def trials(self, robot, *, is_seen: bool = True) -> tuple[Trial, Trial]:
        return self.trial(robot, "left", is_seen=is_seen), self.trial(robot, "right", is_seen=is_seen)


def mended(drive: dict[str, bool], counts: dict[str, bool], settings: list[Setting]):
    """Return the robot after the changes."""
    changed = {"drive": dict(drive), "counts": dict(counts)}
    for family, key, value in settings:
        assert changed[family][key] is not value, "a change changes something"
        changed[family][key] = value
    return robot_with(changed["drive"], changed["counts"])


def test_nothing_is_wrong_with_a_robot_that_is_right():
    assert diagnose(robot_with(), GOOD) == Diagnosis()


@given(SETTINGS, SETTINGS, SETTINGS, SETTINGS)
def test_the_changes_mend_every_swap_of_channels_and_signs(motors, encoders, drive, counts):
    """Whatever is wired which way, and whatever the file says of it."""
    wiring = TrueWiring(motors, encoders)
    found = diagnose(robot_with(drive, counts), wiring.trials(robot_with(drive, counts)))
    robot = mended(drive, counts, found.settings)
    trials = wiring.trials(robot)
    assert [trial.seen for trial in trials] == [SeenTurning(("left",)), SeenTurning(("right",))]
    assert diagnose(robot, trials).mistakes == []
    assert bool(found.mistakes) == bool(found.settings)


@given(SETTINGS, SETTINGS, SETTINGS, SETTINGS)
def test_without_a_person_either_way_of_mending_makes_counts_follow_commands(motors, encoders, drive, counts):
    wiring = TrueWiring(motors, encoders)
    found = diagnose(robot_with(drive, counts), wiring.trials(robot_with(drive, counts), is_seen=False))
    for settings in (found.settings, found.alternatives):
        robot = mended(drive, counts, settings)
        assert diagnose(robot, wiring.trials(robot, is_seen=False)).mistakes == []


@pytest.mark.parametrize(
    ("left", "mistake"),
    [
        (Trial("left", (400, 390)), "coupled wiring"),
        (
            Trial("left", (400, 390), SeenTurning(("left",))),
            "coupled wiring: .*one wheel turns and both counts move",
        ),
        (Trial("left", (400, 0), SeenTurning(("left", "right"))), "coupled wiring: .*both wheels turn"),
        (Trial("left", (0, 0), SeenTurning(("left",))), "dead encoder"),
        (Trial("left", (0, 0), None, 0.4), "dead encoder"),
        (Trial("left", (0, 0), SeenTurning(())), "dead motor"),
        (Trial("left", (0, 0), None, 0.0), "dead motor:"),
        (Trial("left", (2, 1)), "dead motor or dead encoder"),
        (Trial("left", (300, 0), SeenTurning(())), "the left encoder counts although no wheel turned"),
        (
            Trial("left", (0, 400), SeenTurning(("right",))),
            "coupled wiring: both motor channels turn the right wheel",
        ),
        (
            Trial("left", (0, 400), SeenTurning(("left",))),
            "coupled wiring: both wheels are counted by the right encoder",
        ),
    ],
)
def test_what_no_line_of_the_file_mends_is_told_with_what_to_try(left, mistake):
    right = Trial("right", (0, 400), None if left.seen is None else SeenTurning(("right",)))
    found = diagnose(robot_with(), (left, right))
    assert [len(found.mistakes), len(found.advice), found.settings] == [1, 1, []]
    assert re.match(mistake, found.mistakes[0])


def test_a_few_counts_of_the_other_side_are_no_coupling():
    assert diagnose(robot_with(), (Trial("left", (400, 30)), GOOD[1])).mistakes == []
