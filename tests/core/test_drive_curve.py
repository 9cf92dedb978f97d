"""Counts that change their scale in the middle of a run, held against what the duties made of them before."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.core.drive_curve import DriveCurve
from rover.core.due import Driven
from rover.devices.readings import HeadingValue
from tests.core.rig import STEP, Rig

COUNT = 0.0004
LEGS = ((0.2, 0.2), (-0.15, 0.15), (0.12, 0.12), (0.2, -0.2), (-0.12, -0.12), (0.2, 0.2))
"""Speeds (m/s) of the sides, two seconds each: what a robot does before something breaks."""


def well_driven(**rig) -> Rig:
    rig = Rig(**rig)
    for legs in (LEGS, LEGS):
        for leg in legs:
            rig.hold(*leg, 2.0)
    assert not rig.verdict
    rig.way = rig.unsure = 0.0
    return rig


def in_time(rig: Rig) -> bool:
    """Tell whether somebody was blamed within a metre, or three seconds, of what `well_driven` was driven."""
    return rig.way <= 1.0 or rig.steps * STEP <= 4.0 * len(LEGS) + 3.0


def share_of(curve: DriveCurve, duty: float) -> tuple[float, float]:
    """Return what is due in a second at a duty: at least, and at most (m)."""
    return tuple(curve.due(Driven(duty, 1.0, 0.2)))


class TestTheLine:
    def learned(self, *duties: float) -> DriveCurve:
        """0.5 m/s for each duty beyond 0.2; the robot file says 0.7 m/s at full duty, beyond 0.12."""
        curve = DriveCurve(0.7, 0.12, COUNT)
        for duty in duties * 40:
            curve.learn(Driven(0.5 * duty, 0.5, 0.25 * (duty - 0.2)), 0.25 * (duty - 0.2))
        return curve

    def test_it_is_learned_from_two_speeds(self):
        least, most = share_of(self.learned(0.3, 0.5), 0.4)
        assert 0.085 < least < 0.1 < most < 0.115

    def test_from_one_speed_it_tells_of_others_less(self):
        (one, two), (near, far) = (share_of(self.learned(*duties), 0.8) for duties in ((0.3, 0.8), (0.4,)))
        assert two - one < 0.5 * (far - near)

    def test_the_first_guess_is_rough(self):
        least, most = share_of(DriveCurve(0.7, 0.12, COUNT), 0.4)
        assert most > 3.0 * least

    def test_what_does_not_fit_is_not_learned(self):
        curve = self.learned(0.3, 0.5)
        for _ in range(20):
            curve.learn(Driven(0.15, 0.5, 0.1), 0.1)
        assert share_of(curve, 0.4)[1] < 0.12

    def test_nor_is_a_wheel_that_is_held(self):
        curve = self.learned(0.3, 0.5)
        for _ in range(20):
            curve.learn(Driven(0.2, 0.5, 0.1), 0.04)
        assert share_of(curve, 0.4)[0] > 0.08


@pytest.mark.parametrize("leg", [(0.2, 0.2), (0.12, 0.12), (0.2, 0.14), (-0.2, -0.2)])
class TestCountsThatChange:
    @pytest.mark.parametrize("scale", [0.4, 0.5, 2.0])
    def test_of_both_sides(self, leg, scale):
        rig = well_driven()
        rig.counts = (scale, scale)
        rig.hold(*leg, 20.0)
        assert rig.verdict == "stop"
        assert in_time(rig)

    @pytest.mark.parametrize("scale", [0.5, 2.0])
    def test_of_one_side_while_the_heading_is_held(self, leg, scale):
        rig = well_driven()
        rig.counts = (1.0, scale)
        rig.hold(leg[0], leg[0] * scale, 20.0)
        assert (rig.verdict, rig.checks.lying_side) == ("counts", "right")
        assert in_time(rig)

    def test_the_way_in_question_covers_it(self, leg):
        rig = well_driven()
        rig.counts = (2.0, 2.0)
        while not rig.verdict:
            rig.hold(*leg, 0.1)
            error = rig.way  # as much as is counted too much
            assert error < 0.1 or 3.0 * (rig.unsure + rig.checks.in_question[0]) > error

    def test_of_the_side_that_is_left(self, leg):
        rig = well_driven()
        rig.counts = (1.0, 0.0)
        rig.hold(*leg, 5.0)
        assert rig.checks.lying_side == "right"
        rig.checks.found.clear()
        rig.hold(*leg, 3.0)
        assert not rig.verdict
        rig.counts = (2.0, 0.0)
        assert (
            rig.hold(leg[0], 0.5 * leg[0], 20.0).verdict == "stop"
        )  # it goes straight, as a heading that is held has it


class TestLiesThatHide:
    def test_in_a_pivot(self):
        rig = well_driven()
        rig.counts = (2.0, 2.0)
        assert rig.hold(0.0, 0.2, 20.0).verdict == "stop"

    def test_behind_reports_that_come_late_now_and_then(self):
        rig = well_driven()
        rig.counts = (2.0, 2.0)
        for _ in range(10):
            rig.hold(0.2, 0.2, 0.9)
            rig.checks.lose_track()
            rig.hold(0.2, 0.2, 0.1)
        assert rig.verdict or 3.0 * rig.unsure > rig.way

    def test_a_heading_behind_motors_that_have_become_weak(self):
        rig = well_driven()
        stuck = HeadingValue(rig.heading, 0.001)
        rig.gains, rig.turns = (0.75, 0.75), lambda _angle, _rate: stuck
        for leg in LEGS * 3:
            rig.hold(*leg, 2.0)
        assert rig.verdict == "heading"


class TestWhatIsNoLie:
    @pytest.mark.parametrize("bends", [0.7, 1.3])
    def test_a_creep_after_faster_legs(self, bends):
        rig = Rig(bends=bends)
        for speed in (0.2, 0.3, 0.4) * 3:
            rig.hold(speed, speed, 2.0)
        assert not rig.hold(0.03, 0.03, 30.0).hold(0.3, 0.3, 3.0).verdict

    @pytest.mark.parametrize("swing", [0.05, 0.12, 0.2])
    def test_sides_that_share_what_the_ground_makes_them_do_together(self, swing):
        rig = Rig(is_coupled=True)
        for step in range(3000):
            duty, more = 0.45 - 0.15 * math.sin(step / 700.0), swing * math.sin(step / 190.0)
            rig.drive(duty + more, duty - more, 0.02)
        assert not rig.verdict

    def test_counts_of_both_that_change_while_the_sides_share(self):
        rig = Rig(is_coupled=True)
        for step in range(1500):
            duty, more = 0.45 - 0.15 * math.sin(step / 300.0), 0.12 * math.sin(step / 190.0)
            rig.drive(duty + more, duty - more, 0.02)
        rig.counts = (2.0, 2.0)
        rig.hold(0.2, 0.2, 20.0)
        assert rig.verdict == "stop"

    def test_friction_that_falls(self):
        rig = Rig(dead_band=0.2)
        for leg in LEGS * 2:
            rig.hold(*leg, 2.0)
        rig.dead_band = 0.14
        assert not rig.hold(0.12, 0.12, 20.0).verdict

    def test_the_side_that_is_left_of_motors_that_give_half_of_what_the_file_says(self):
        rig = well_driven(gains=(0.5, 0.5))
        rig.counts = (1.0, 0.0)
        rig.hold(0.15, 0.15, 5.0)
        assert rig.checks.lying_side == "right"
        rig.checks.found.clear()
        assert not rig.hold(0.15, 0.15, 10.0).verdict

    @settings(max_examples=40, deadline=None)
    @given(
        gains=st.tuples(st.floats(0.8, 1.3), st.floats(0.8, 1.3)),
        dead_band=st.floats(0.08, 0.2),
        bends=st.floats(0.7, 1.3),
        scrubs=st.floats(0.75, 1.0),
        legs=st.lists(st.sampled_from((*LEGS, (0.2, 0.1), (0.05, 0.05), (0.0, 0.2))), min_size=8, max_size=20),
    )
    def test_motors_of_any_kind(self, gains, dead_band, bends, scrubs, legs):
        rig = Rig(gains=gains, dead_band=dead_band, bends=bends, scrubs=scrubs)
        for leg in legs:
            rig.hold(*leg, 1.5).drive(0.0, 0.0, 0.3)
            assert (rig.verdict, rig.unsure) == ("", 0.0)

    @pytest.mark.parametrize("gain", [0.75, 1.25])
    def test_a_floor_or_battery_that_gives_a_quarter_more_or_less(self, gain):
        rig = well_driven()
        rig.gains = (gain, gain)
        for leg in LEGS:
            rig.hold(*leg, 2.0)
        assert not rig.verdict

    def test_a_battery_that_runs_down(self):
        rig = well_driven()
        for minute in range(12):
            rig.gains = (1.0 - 0.04 * minute,) * 2
            for leg in LEGS:
                rig.hold(*leg, 2.0)
        assert (rig.verdict, rig.unsure) == ("", 0.0)

    def test_a_robot_that_pushes_at_a_wall_until_it_gives_up(self):
        rig = well_driven()
        rig.hold(0.06, 0.06, 4.0)
        rig.gains = (0.0, 0.0)
        rig.hold(0.06, 0.06, 0.8)
        rig.gains = (1.0, 1.0)
        rig.hold(0.06, 0.05, 6.0)
        assert not rig.verdict
