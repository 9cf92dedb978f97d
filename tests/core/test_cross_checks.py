"""Sensors held against each other: a robot of the test's own, whose counts and heading tell what the test lets them."""

import math
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.core.beyond import Wall
from rover.core.pairs import table
from rover.devices.readings import BatteryValue, Detection, HeadingValue
from rover.quantities import wrap
from tests.core.rig import HEADING_EVERY, ROBOT, SPIN, STEP, STRAIGHT, WAYS, Rig


def frozen_at(angle: float, rate: float | None) -> Callable[[float, float], HeadingValue]:
    return lambda _angle, _rate: HeadingValue(angle, rate)


@pytest.mark.parametrize("dead_band", [0.0, 0.1, 0.15, 0.2])
@pytest.mark.parametrize("speed", [0.04, 0.06, 0.08, 0.15])
def test_at_a_creep_a_dead_band_that_is_known_roughly_makes_no_counts_doubtful(dead_band, speed):
    """Motors start at 10 to 20 % of the duty, on a board that makes up for it at once; the robot file says 12 %."""
    rig = Rig(dead_band=dead_band, told=(speed, speed))
    duty = dead_band + speed / ROBOT.devices.drive.top_speed * (1.0 - dead_band)
    rig.drive(duty, duty, 60.0)
    assert rig.verdict == ""
    assert rig.unsure == 0.0


class TestBothSidesStand:
    def test_driven_straight_the_place_is_less_sure(self):
        assert Rig(gains=(0.0, 0.0)).drive(*STRAIGHT, 0.8).unsure > 0.06

    def test_driven_against_each_other_they_would_have_turned_the_robot(self):
        rig = Rig(gains=(0.0, 0.0)).drive(*SPIN, 5.0)
        assert (rig.verdict, rig.unsure) == ("", pytest.approx(0.0, abs=0.005))
        assert rig.stood > 1

    @pytest.mark.parametrize(("duties", "gains"), [((0.45, 0.55), (1.0, 0.77)), ((0.3, 0.4), (1.0, 0.64))])
    def test_unequal_motors_that_go_straight_by_unequal_duties_would_not(self, duties, gains):
        rig = Rig(gains=gains, counts=(0.0, 0.0)).drive(*duties, 3.0)
        assert rig.unsure > 0.9 * rig.way > 0.1

    def test_a_heading_that_has_fallen_silent_tells_nothing(self):
        assert Rig(counts=(0.0, 0.0), is_told=False).drive(*SPIN, 3.0).unsure > 0.3

    def test_which_it_does_in_truth(self):
        assert Rig(counts=(0.0, 0.0)).drive(*SPIN, 5.0).verdict == "stop"


@pytest.mark.parametrize("way", WAYS)
class TestCountsThatLie:
    def test_one_side_stands_still(self, way):
        if way == "arc":
            return  # without a control that winds up, an arc looks like a side that stands, on a wider base
        for side in (0, 1):
            rig = Rig(counts=tuple(0.0 if side == one else 1.0 for one in (0, 1)))
            rig.drive(*WAYS[way], 5.0)
            assert rig.verdict == "counts"
            assert rig.checks.lying_side == ("left", "right")[side]
            assert rig.steps * STEP <= 1.5  # half of it is the time until duties are on for good

    def test_one_side_runs_backwards(self, way):
        rig = Rig(counts=(-1.0, 1.0)).drive(*WAYS[way], 5.0)
        assert rig.checks.lying_side == "left"
        assert rig.steps * STEP <= 1.5

    def test_both_sides_run_backwards(self, way):
        rig = Rig(counts=(-1.0, -1.0)).drive(*WAYS[way], 5.0)
        assert rig.verdict == "stop"
        assert rig.steps * STEP <= 1.5

    @pytest.mark.parametrize("scale", [0.4, 2.0])
    def test_one_side_is_scaled(self, way, scale):
        rig = Rig().drive(*SPIN, 6.0)  # while all is well it learns how wide the base turns
        rig.counts, rig.way, rig.steps = (1.0, scale), 0.0, 300
        rig.drive(*WAYS[way], 20.0)
        assert rig.checks.lying_side == "right" or rig.verdict == "stop"
        assert rig.way <= 1.0 or rig.steps * STEP <= 10.0

    def test_both_sides_count_double(self, way):
        rig = Rig(counts=(2.0, 2.0)).drive(*WAYS[way], 20.0)
        assert rig.verdict == "stop"
        assert rig.way <= 1.0 or rig.steps * STEP <= 4.0


def test_wheels_that_turn_without_a_duty_stop():
    rig = Rig().drive(*STRAIGHT, 1.0)
    rig.gains = (0.0, 0.0)
    assert not rig.drive(0.0, 0.0, 2.0).verdict
    for _ in range(10):
        rig.checks.count(0.006, 0.006, STEP)
    assert rig.verdict == "stop"


class TestHeadingsThatLie:
    @pytest.mark.parametrize("way", ["spin", "arc"])
    def test_a_frozen_one_is_found_within_30_degrees(self, way):
        rig = Rig(turns=frozen_at(0.3, 0.001)).drive(*WAYS[way], 10.0)
        assert rig.verdict == "heading"
        assert math.degrees(rig.turned) <= 30.0

    @pytest.mark.parametrize("way", ["spin", "arc"])
    def test_so_is_one_without_a_rate(self, way):
        rig = Rig(turns=frozen_at(0.3, None)).drive(*WAYS[way], 10.0)
        assert rig.verdict == "heading"
        assert math.degrees(rig.turned) <= 30.0

    @pytest.mark.parametrize(("way", "within"), [("spin", 30.0), ("arc", 60.0)])
    def test_a_reversed_one_is_found(self, way, within):
        """On an arc later: a burst of slip turns a base against its counts, too."""
        rig = Rig(turns=lambda angle, rate: HeadingValue(-angle, -rate)).drive(*WAYS[way], 10.0)
        assert rig.verdict == "heading"
        assert math.degrees(rig.turned) < within

    def test_a_rate_that_stays_leaves_the_angle(self):
        rig = Rig(turns=lambda angle, rate: HeadingValue(angle, 0.0)).drive(*SPIN, 10.0)
        assert rig.verdict == "heading"
        assert (rig.checks.takes_angle, rig.checks.takes_rate) == (True, False)

    def test_an_angle_that_stays_leaves_the_rate(self):
        rig = Rig(turns=lambda angle, rate: HeadingValue(0.3, rate)).drive(*SPIN, 10.0)
        assert rig.verdict == "heading"
        assert (rig.checks.takes_angle, rig.checks.takes_rate) == (False, True)

    def test_two_of_one_moment_are_one(self):
        rig = Rig().drive(*SPIN, 1.0)
        for _ in range(2):
            rig.checks.tell(HeadingValue(rig.heading, rig.rate), 10**9)
        assert not rig.verdict

    @pytest.mark.parametrize("late_s", [0.5, 1.0, 1.5])
    def test_one_that_comes_late(self, late_s):
        rig, told = Rig(), []

        def late(angle, rate):
            told.append(HeadingValue(angle, rate))
            return told[max(0, len(told) - 1 - round(late_s / STEP / HEADING_EVERY))]

        rig.turns = late
        for way in (STRAIGHT, (0.3, 0.6), (0.6, 0.3), (-0.3, 0.3), STRAIGHT, (0.4, -0.4)) * 2:
            rig.drive(*way, 0.8)
        assert rig.verdict == "heading"

    def test_a_jump_stops_since_the_robot_may_have_been_turned(self):
        rig = Rig().drive(*STRAIGHT, 2.0)
        rig.turns = lambda angle, rate: HeadingValue(angle + math.radians(40.0), rate)
        assert rig.drive(*STRAIGHT, 2.0).verdict == "stop"

    def test_with_a_side_that_lies_and_no_heading_nobody_knows_the_way(self):
        robot = ROBOT.model_copy(update={"devices": ROBOT.devices.model_copy(update={"heading": None})})
        assert Rig(robot=robot, counts=(0.0, 1.0)).drive(*STRAIGHT, 5.0).verdict == "stop"


class TestWhatIsNoLie:
    def test_a_side_that_stands_in_truth(self):
        """A wheel that is held back turns the robot as its counts say: the limits see to it."""
        assert not Rig(gains=(0.0, 1.0)).drive(*STRAIGHT, 1.0).verdict

    def test_a_side_that_spins_for_a_while(self):
        """The worst burst of slip that the ranges allow: 60 % for 0.8 s."""
        rig = Rig().drive(*STRAIGHT, 2.0)
        rig.kept = (0.4, 1.0)
        rig.drive(*STRAIGHT, 0.8)
        rig.kept = (1.0, 1.0)
        assert not rig.drive(*STRAIGHT, 3.0).verdict

    def test_a_side_that_is_blocked(self):
        """It counts less than its motor makes in the open, and less than it is told: no control gets it there."""
        rig = Rig(gains=(1.0, 0.45), told=(0.25, 0.25)).drive(*STRAIGHT, 6.0)
        assert rig.verdict == ""

    def test_motors_that_give_half(self):
        assert not Rig(gains=(0.5, 0.5)).drive(*STRAIGHT, 10.0).verdict

    def test_somebody_who_turns_it_by_hand_is_noticed_and_nobody_blamed(self):
        rig = Rig()
        rig.kept = (0.0, 1.0)  # the left side is lifted, so that the robot goes round it
        assert rig.drive(*STRAIGHT, 20.0).verdict == "stop"

    @settings(max_examples=40, deadline=None)
    @given(
        factor=st.floats(1.2, 1.9),
        gains=st.tuples(st.floats(0.5, 1.2), st.floats(0.5, 1.2)),
        slip=st.tuples(st.floats(0.0, 0.05), st.floats(0.0, 0.05)),
        legs=st.lists(
            st.tuples(st.sampled_from(list(WAYS.values())), st.floats(0.2, 4.0), st.booleans(), st.booleans()),
            max_size=12,
        ),
        seed=st.integers(0, 1000),
    )
    def test_no_healthy_robot_is_doubted(self, factor, gains, slip, legs, seed):
        kept = (1.0 - slip[0], 1.0 - slip[1])
        rig = Rig(track_factor=factor, gains=gains, kept=kept, noise=math.radians(1.0), draws=Random(seed))
        for (left, right), seconds, backwards, slips in legs:
            sense = -1.0 if backwards else 1.0
            rig.kept = (0.4, kept[1]) if slips else kept
            rig.drive(sense * left, sense * right, min(seconds, 0.8))
            rig.kept = kept
            rig.drive(sense * left, sense * right, max(0.0, seconds - 0.8)).drive(0.0, 0.0, 0.5)
        assert not rig.verdict


class TestReportsThatStayTheSame:
    @pytest.fixture
    def rig(self) -> Rig:
        return Rig()

    def hear(self, rig: Rig, distance: Callable[[float], float | None], expected: float | None = None) -> str:
        for _ in range(40):
            rig.drive(*STRAIGHT, 0.1)
            rig.checks.hear("range", distance(rig.way), None if expected is None else Wall(expected, 0.0, 0.03))
        return rig.verdict

    def test_an_echo_that_does_not_come_nearer(self, rig):
        assert self.hear(rig, lambda way: 1.234) == "range"

    def test_one_that_does(self, rig):
        assert not self.hear(rig, lambda way: 2.0 - way)

    def test_silence_where_a_wall_should_be(self, rig):
        assert self.hear(rig, lambda way: None, expected=1.0) == "range"

    def test_silence_where_none_is(self, rig):
        assert not self.hear(rig, lambda way: None)

    def test_frames_that_show_the_same_through_a_turn(self, rig):
        seen = (Detection("amber", 0.1, 1.0, 0.01, 0.05, 0.1),)
        for _ in range(10):
            rig.checks.see(seen, rig.heading, round(rig.steps * STEP * 1e9))
            rig.drive(*SPIN, 0.1)
        assert rig.verdict == "camera"

    @pytest.mark.parametrize(("late", "verdict"), [(50, "camera"), (5, "")])
    def test_frames_that_come_late_show_it_where_a_turn_begins(self, rig, late, verdict):
        headings = [0.0] * (late + 1)
        for step in range(100):
            rig.drive(*SPIN, STEP)
            headings.append(rig.heading)
            if step % 5 == 0:
                seen = Detection("amber", 0.4 - headings[-late - 1], 2.0, 0.01, 0.05, 0.1)
                rig.checks.see((seen,), rig.heading, round(rig.steps * STEP * 1e9))
        assert rig.verdict == verdict

    def test_a_gyro_that_turns_at_rest_is_doubted_alone(self, rig):
        rig.turns = lambda angle, rate: HeadingValue(angle, rate + math.radians(0.6))
        for _ in range(60):
            rig.drive(*SPIN, 1.0).drive(0.0, 0.0, 1.0)
        assert rig.verdict == "heading"
        assert (rig.checks.takes_angle, rig.checks.takes_rate) == (True, False)

    def test_an_angle_that_drifts_stops(self, rig):
        rig.turns = lambda angle, rate: HeadingValue(wrap(angle + math.radians(0.6) * rig.steps * STEP), rate)
        for _ in range(60):
            rig.drive(*SPIN, 1.0).drive(0.0, 0.0, 1.0)
        assert rig.verdict == "stop"

    @pytest.mark.parametrize(("volts", "verdict"), [(12.0, "battery"), (None, "")])
    def test_a_voltage_that_no_load_changes(self, rig, volts: Any, verdict):
        for turn in range(120):
            rig.drive(*(STRAIGHT if turn % 2 else (0.0, 0.0)), 0.04)
            rig.checks.measure(BatteryValue(12.0 - 0.001 * turn if volts is None else volts))
        assert rig.verdict == verdict


def test_the_table_stands_in_the_docs():
    """Where this fails, ``python -m rover.core.pairs`` prints it."""
    assert table() in (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
