"""What is known of the grip: each teller by itself, what they say together, and what makes a look."""

import itertools
from pathlib import Path

import pytest

from rover.devices.readings import JawsValue, RangeValue
from rover.estimate.grip import ComesAlong, GripEstimate, GripLook, joined
from rover.files import yaml_source
from rover.files.errand import Kind
from rover.files.robot import Robot

CART = yaml_source.read(Path(__file__).parents[2] / "config/cart.yaml", "cart.yaml").values
JAR = {"amber": Kind.model_validate({"lid": "amber", "height": "60 mm", "width": "50 mm"})}
LATER = 1_000_000_000
"""By then jaws have arrived that were commanded at 0."""
HELD_AT = 0.035
"""Where the cart's range finder hears what the jaws hold (m)."""


def estimate(**gripper):
    """Return what the cart knows, its jaws told to close at 0; all its devices that may tell of a grip are at work."""
    devices = CART["devices"] | {"gripper": CART["devices"]["gripper"] | gripper}
    grip = GripEstimate(Robot.model_validate(CART | {"devices": devices}), JAR)
    grip.commanded(0.0, 0)
    return grip


def said(grip, *at_work):
    """Return what a new look says, or ``no look``."""
    return grip.latest.is_held if grip.look(lambda device: device in at_work) else "no look"


def tug(grip, distance, steps=10):
    """Draw back by 10 cm, hearing something at a distance all the while; return the last verdict."""
    verdict = None
    for step in range(steps):
        grip.hear("range", RangeValue(distance), LATER + step)
        verdict = said(grip, "range")
        grip.moved(-0.01)
    return verdict


class TestCamera:
    @pytest.mark.parametrize("is_between", [True, False])
    def test_closed_jaws_hold_what_is_seen_between_them(self, is_between):
        grip = estimate()
        grip.see(is_between=is_between, taken_ns=LATER)
        assert said(grip, "camera") is is_between

    def test_what_was_seen_before_the_jaws_arrived_tells_nothing(self):
        grip = estimate()
        grip.see(is_between=True, taken_ns=500_000_000)
        assert said(grip, "camera") == "no look"

    def test_between_open_jaws_it_is_held_only_if_it_comes_along(self):
        grip = estimate()
        grip.commanded(1.0, 0)
        verdicts = []
        for step in range(8):
            grip.see(is_between=True, taken_ns=LATER + step)
            verdicts.append(said(grip, "camera"))
            grip.moved(-0.01)
        assert verdicts == ["no look"] * 6 + [True] * 2

    def test_jaws_that_it_cannot_see_it_tells_nothing_of(self):
        devices = CART["devices"] | {"camera": CART["devices"]["camera"] | {"ahead": "10 cm"}}
        grip = GripEstimate(Robot.model_validate(CART | {"devices": devices}), JAR)
        grip.commanded(0.0, 0)
        grip.see(is_between=False, taken_ns=LATER)
        assert said(grip, "camera") == "no look"
        assert not grip.is_telling


class TestFeedback:
    @pytest.mark.parametrize(("holding", "verdict"), [(True, True), (False, False), (None, "no look")])
    def test_a_switch_says_what_it_says_and_none_is_not_nothing(self, holding, verdict):
        grip = estimate(feedback="switch")
        grip.feel(JawsValue(None, holding), LATER)
        assert said(grip, "gripper") == verdict

    @pytest.mark.parametrize(
        ("opening", "verdict"), [(0.02, False), (0.45, True), (0.2, "no look"), (0.8, False), (1.0, False)]
    )
    def test_jaws_stop_at_the_width_of_what_they_hold(self, opening, verdict):
        """5 cm of 11 cm are 45 %: at 20 % they stopped on something else."""
        grip = estimate(feedback="position", opens_to="11 cm")
        grip.feel(JawsValue(opening, None), LATER)
        assert said(grip, "gripper") == verdict

    def test_where_their_width_is_not_told_jaws_that_do_not_close_hold_something(self):
        grip = estimate(feedback="position")
        grip.feel(JawsValue(0.2, None), LATER)
        assert said(grip, "gripper") is True

    def test_told_to_open_and_still_as_wide_as_a_jar_they_hold_on(self):
        grip = estimate(feedback="position", opens_to="11 cm")
        grip.commanded(1.0, 0)
        grip.feel(JawsValue(0.45, None), LATER)
        assert said(grip, "gripper") is True

    def test_a_gripper_that_contradicts_itself_tells_nothing(self):
        grip = estimate(feedback="position", opens_to="11 cm")
        grip.feel(JawsValue(0.0, True), LATER)
        assert said(grip, "gripper") == "no look"


class TestEcho:
    def test_near_it_tells_nothing_before_a_tug_and_afterwards_that_it_came_along(self):
        grip = estimate()
        assert tug(grip, HELD_AT, steps=3) == "no look"
        assert tug(grip, HELD_AT) is True

    def test_what_stays_behind_is_not_held(self):
        grip = estimate()
        verdicts = []
        for step in range(10):
            grip.hear("range", RangeValue(HELD_AT + 0.01 * step), LATER + step)
            verdicts.append(said(grip, "range"))
            grip.moved(-0.01)
        assert verdicts[-1] is False
        assert True not in verdicts

    def test_one_ping_without_an_echo_tells_nothing_and_many_that_it_is_gone(self):
        grip = estimate()
        tug(grip, HELD_AT)
        verdicts = []
        for step in range(10):
            grip.hear("range", RangeValue(None), LATER + step)
            verdicts.append(said(grip, "range"))
        assert verdicts == ["no look"] * 7 + [False] * 3

    def test_opening_the_jaws_it_has_to_come_along_anew(self):
        grip = estimate()
        tug(grip, HELD_AT)
        grip.commanded(1.0, 0)
        assert tug(grip, HELD_AT, steps=3) == "no look"

    def test_one_stray_echo_does_not_undo_what_was_proven(self):
        grip = estimate()
        tug(grip, HELD_AT)
        grip.hear("range", RangeValue(1.3), LATER)
        assert said(grip, "range") is False
        grip.hear("range", RangeValue(HELD_AT), LATER)
        assert said(grip, "range") is True


class TestTogether:
    def test_they_agree_or_nobody_knows(self):
        for verdicts in itertools.product((True, False, None), repeat=3):
            told = {verdict for verdict in verdicts if verdict is not None}
            assert joined(verdicts) == (next(iter(told)) if len(told) == 1 else None)

    @pytest.mark.parametrize(("is_between", "holding"), [(True, False), (False, True)])
    def test_a_switch_and_a_camera_that_contradict_each_other_make_a_look_that_knows_nothing(self, is_between, holding):
        grip = estimate(feedback="switch")
        grip.see(is_between=is_between, taken_ns=LATER)
        grip.feel(JawsValue(None, holding), LATER + 1)
        assert said(grip, "camera", "gripper") is None
        assert grip.latest == GripLook(None, LATER)

    def test_the_slowest_sets_the_pace(self):
        grip = estimate(feedback="switch")
        looks = []
        for step in range(6):
            grip.feel(JawsValue(None, True), LATER + step)
            if step % 3 == 2:
                grip.see(is_between=True, taken_ns=LATER + step)
            looks.append(said(grip, "camera", "gripper"))
        assert looks == ["no look", "no look", True] * 2

    def test_without_news_there_is_no_look(self):
        grip = estimate()
        grip.see(is_between=True, taken_ns=LATER)
        assert [said(grip, "camera") for _ in range(3)] == [True, "no look", "no look"]

    @pytest.mark.parametrize("lost", ["camera", "gripper"])
    def test_one_that_is_lost_or_doubted_does_not_silence_the_other(self, lost):
        grip = estimate(feedback="switch")
        grip.see(is_between=True, taken_ns=LATER)
        grip.feel(JawsValue(None, True), LATER)
        assert said(grip, *({"camera", "gripper"} - {lost})) is True

    def test_what_a_doubted_one_says_does_not_count(self):
        grip = estimate(feedback="switch")
        grip.see(is_between=True, taken_ns=LATER)
        grip.feel(JawsValue(None, False), LATER)
        assert said(grip, "gripper") is False

    def test_with_none_at_work_nothing_tells(self):
        grip = estimate(feedback="switch")
        grip.feel(JawsValue(None, True), LATER)
        assert said(grip) == "no look"
        assert not grip.is_telling

    def test_no_echo_from_the_jaws_proves_little_where_something_else_tells(self):
        """Much sends no echo back; and a camera is not kept waiting for one."""
        grip = estimate()
        grip.see(is_between=True, taken_ns=LATER)
        assert said(grip, "camera", "range") is True
        grip.hear("range", RangeValue(2.0), LATER)
        grip.see(is_between=True, taken_ns=LATER)
        assert said(grip, "camera", "range") is True

    def test_that_the_jaws_are_commanded_otherwise_is_a_look_that_knows_nothing(self):
        grip = estimate()
        grip.see(is_between=True, taken_ns=LATER)
        grip.look(lambda device: True)
        before = grip.looks
        grip.commanded(1.0, 2 * LATER)
        assert (grip.latest, grip.looks) == (GripLook(None, 2 * LATER), before + 1)


class TestComesAlong:
    def test_forwards_proves_nothing(self):
        along = ComesAlong()
        assert not any(along.look(is_there=True, way=0.01 * step) for step in range(30))

    def test_what_is_met_after_a_way_back_has_not_come_along(self):
        along = ComesAlong()
        for step in range(30):
            along.look(is_there=False, way=-0.01 * step)
        assert not any(along.look(is_there=True, way=-0.3 + 0.01 * step) for step in range(20))

    def test_proven_it_stays_so_until_it_is_not_seen_three_times(self):
        along = ComesAlong()
        looks = [along.look(is_there=True, way=-0.01 * step) for step in range(8)]
        assert looks == [False] * 6 + [True] * 2
        assert along.look(is_there=True, way=0.5)
        for _ in range(2):
            along.look(is_there=False, way=0.5)
        assert along.look(is_there=True, way=0.5)
        for _ in range(3):
            along.look(is_there=False, way=0.5)
        assert not along.look(is_there=True, way=0.5)
