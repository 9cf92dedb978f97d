"""Hold-backs: what each takes away, what it leaves, and how it ends."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.geometry import Pose
from rover.motion.echo import Room
from rover.motion.hold_backs import FORWARDS
from rover.motion.limits import BLOCKED_SHARE
from rover.motion.request import STILL, Request

from .limits_at_work import AHEAD, STEP, Driving


@pytest.fixture
def driving(cart, field):
    return lambda **limits: Driving(cart(**limits), field)


class TestCapsAndRamps:
    def test_a_request_is_capped_at_the_robot_files_limits(self, driving):
        allowed = driving().steps(Request(5.0, 50.0), 3.0)[-1]
        assert (allowed.speed, allowed.turn_rate) == pytest.approx((0.4, math.radians(90.0)))

    def test_where_contact_is_meant_the_speed_is_low(self, driving):
        at_work = driving(contact_speed="12 cm/s")
        assert at_work.steps(Request(0.4, expects_contact=True), 3.0)[-1].speed == pytest.approx(0.12)

    def test_where_no_range_finder_looks_the_speed_is_low(self, driving, cart, field):
        allowed = driving(contact_speed="12 cm/s").steps(Request(-0.4), 3.0)[-1]
        assert allowed.speed == pytest.approx(-0.12)
        behind = {"rear": {"family": "range", "driver": "simulated", "at": {"towards": "180 deg"}}}
        assert Driving(cart(behind), field).steps(Request(-0.4), 3.0)[-1].speed == pytest.approx(-0.4)
        assert Driving(cart({"range": None}), field).steps(Request(0.4), 3.0)[-1].speed == pytest.approx(0.15)

    def test_by_hand_a_person_looks(self, cart):
        assert Driving(cart({"range": None}), None).steps(Request(0.4), 3.0)[-1].speed == pytest.approx(0.4)

    def test_where_the_range_finder_looks_at_the_load_the_speed_is_lower(self, driving):
        allowed = driving().steps(Request(0.4, range_blocked=True), 3.0)[-1]
        assert allowed.speed == pytest.approx(BLOCKED_SHARE * 0.4)

    @pytest.mark.parametrize("request_", [Request(math.nan), Request(0.2, math.nan), Request(math.nan, math.nan)])
    def test_what_is_not_a_number_is_zero(self, driving, request_):
        at_work = driving()
        at_work.steps(Request(0.3, 0.5), 2.0)
        allowed = at_work.steps(request_, 2.0)[-1]
        assert (allowed.speed, allowed.turn_rate) == (0.0, 0.0)

    requests = st.lists(
        st.builds(
            Request,
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(allow_nan=True, allow_infinity=True),
            expects_contact=st.booleans(),
            range_blocked=st.booleans(),
        ),
        max_size=60,
    )

    @given(requests=requests, gaps=st.lists(st.floats(-0.5, 3.0), min_size=60, max_size=60))
    def test_no_step_is_larger_than_the_ramp(self, cart, field, requests, gaps):
        at_work = Driving(cart(), field)
        speed = turn_rate = 0.0
        for request, gap in zip(requests, gaps, strict=False):
            allowed = at_work.step(request, gap=gap)
            rising = allowed.speed * speed >= 0.0 and abs(allowed.speed) > abs(speed)
            assert abs(allowed.speed - speed) <= (0.6 if rising else 1.0) * STEP + 1e-9
            assert abs(allowed.turn_rate - turn_rate) <= math.radians(230.0) * STEP + 1e-9
            assert abs(allowed.speed) <= 0.4
            speed, turn_rate = allowed.speed, allowed.turn_rate

    def test_jaws_pass_untouched(self, driving):
        at_work = driving()
        assert [at_work.step(Request(jaws=jaws)).jaws for jaws in (None, 1.0, 0.0)] == [None, 1.0, 0.0]


class TestObstacle:
    def test_the_robot_stops_before_what_is_ahead(self, driving):
        at_work, gap = driving(), 1.0
        for _ in range(500):
            gap -= at_work.step(AHEAD, gap=gap).speed * STEP
        assert 0.0 < gap <= 0.08
        assert at_work.limits.causes == ("obstacle",)

    @given(start=st.floats(0.4, 2.0), speed=st.floats(0.05, 0.4))
    def test_it_never_touches_what_stands_still(self, cart, field, start, speed):
        at_work, gap = Driving(cart(), field), start
        for _ in range(400):
            gap -= at_work.step(Request(speed), gap=gap).speed * STEP
            assert gap > 0.02

    def test_reverse_and_turns_stay_allowed(self, driving):
        at_work = driving()
        assert at_work.steps(Request(-0.1, 0.5), 2.0, gap=0.01)[-1][:2] == pytest.approx((-0.1, 0.5))

    def test_what_is_meant_to_be_touched_does_not_hold_back(self, driving):
        at_work = driving()
        assert at_work.steps(Request(0.1, expects_contact=True), 2.0, gap=0.0)[-1].speed == pytest.approx(0.1)
        assert at_work.limits.causes == ()

    def test_it_holds_for_the_set_time_after_the_way_is_free(self, driving):
        at_work = driving(resume_after="500 ms")
        at_work.steps(AHEAD, 1.0, gap=0.05)
        still_held = at_work.steps(AHEAD, 0.46, gap=3.0)
        assert {allowed.speed for allowed in still_held} == {0.0}
        assert at_work.steps(AHEAD, 0.2, gap=3.0)[-1].speed > 0.0
        assert at_work.limits.causes == ()


class TestBoundary:
    @pytest.mark.parametrize(
        ("pose", "outwards"),
        [(Pose(5.9, 2.0, 0.0), 0.1), (Pose(0.1, 2.0, 0.0), -0.1), (Pose(3.0, 3.9, math.pi / 2.0), 0.1)],
    )
    def test_it_holds_back_what_leads_out_and_lets_in(self, driving, pose, outwards):
        assert driving().steps(Request(outwards), 1.0, pose=pose)[-1][:1] == (0.0,)
        assert driving().steps(Request(-outwards), 1.0, pose=pose)[-1].speed == pytest.approx(-outwards)

    @given(start=st.floats(5.0, 5.5), speed=st.floats(0.05, 0.4))
    def test_the_robot_stops_inside(self, cart, field, start, speed):
        """Its front, half a body length ahead, never crosses the line, however the looks at it fall."""
        at_work, x = Driving(cart(), field), start
        for _ in range(1500):
            x += at_work.step(Request(speed), pose=Pose(x, 2.0, 0.0)).speed * STEP
            assert x + 0.12 < 6.0
        assert x > 5.7
        assert "boundary" in at_work.limits.causes

    def test_a_margin_keeps_farther_off(self, driving):
        at_work, x = driving(boundary_margin="30 cm"), 5.0
        for _ in range(500):
            x += at_work.step(AHEAD, pose=Pose(x, 2.0, 0.0)).speed * STEP
        assert 5.9 < x + 0.19 + 0.3 < 6.0


class TestStandstill:
    def test_the_wheels_stand_still_and_the_jaws_may_move(self, driving):
        at_work = driving()
        at_work.steps(AHEAD, 1.0)
        allowed = at_work.steps(Request(0.4, 1.0, jaws=1.0), 1.0, standstill="counts missing")[-1]
        assert allowed == (0.0, 0.0, 1.0)
        assert at_work.limits.causes == ("counts missing",)

    def test_it_ends_by_itself(self, driving):
        at_work = driving(resume_after="500 ms")
        at_work.steps(AHEAD, 1.0, standstill="counts missing")
        assert at_work.steps(AHEAD, 2.0)[-1].speed == pytest.approx(0.4)

    def test_a_device_that_comes_and_goes_does_not_let_it_go_by_fits_and_starts(self, driving):
        at_work = driving(resume_after="500 ms")
        at_work.steps(AHEAD, 1.0, standstill="counts missing")
        flickering = [at_work.step(AHEAD, standstill="" if step % 20 else "counts missing") for step in range(500)]
        assert {allowed.speed for allowed in flickering} == {0.0}
        assert at_work.limits.causes == ("counts missing",)


class TestSlowly:
    def test_without_the_range_finder_it_goes_on_at_a_speed_at_which_it_may_touch(self, driving):
        at_work = driving(contact_speed="10 cm/s", resume_after="500 ms")
        assert at_work.steps(Request(0.4, 1.0), 3.0, slowly="range missing")[-1][:2] == pytest.approx((0.1, 1.0))
        assert (at_work.limits.slowed_by, at_work.limits.causes) == (("range missing",), ())
        assert at_work.steps(AHEAD, 0.4)[-1].speed == pytest.approx(0.1)
        assert at_work.steps(AHEAD, 2.0)[-1].speed == pytest.approx(0.4)
        assert at_work.limits.slowed_by == ()

    def test_it_is_no_hold_back_that_counts(self, driving):
        at_work = driving(hold_backs=3)
        for _ in range(10):
            at_work.steps(AHEAD, 0.1, slowly="range missing")
            at_work.steps(AHEAD, 0.6)
        assert at_work.limits.why_stop == ""


class TestStalls:
    def test_what_the_wheels_were_driven_for_is_taken_away_for_a_while(self, driving):
        at_work = driving(resume_after="500 ms")
        at_work.steps(Request(0.2, 0.3), 1.0)
        assert at_work.step(Request(0.2, 0.3), is_stalled=True).speed < 0.2
        assert at_work.limits.causes == ("stalled",)
        assert at_work.steps(Request(0.2, 0.3), 0.4)[-1][:2] == (0.0, 0.0)
        assert at_work.steps(Request(-0.2, -0.3), 0.02)[-1].speed < 0.0
        assert at_work.steps(Request(0.2, 0.3), 1.0)[-1][:2] == pytest.approx((0.2, 0.3))

    def test_too_many_latch_and_a_reset_begins_afresh(self, driving):
        at_work = driving(stalls=3, stalls_within="60 s")
        for count in range(3):
            assert (at_work.limits.why_stop, count) == ("", count)
            at_work.steps(AHEAD, 1.0)
            at_work.step(AHEAD, is_stalled=True)
        assert at_work.limits.why_stop == "stalled too often"
        at_work.limits.count_afresh()
        assert at_work.limits.why_stop == ""


class TestTooManyHoldBacks:
    def times(self, at_work, count):
        for _ in range(count):
            at_work.step(AHEAD, gap=0.01)
            at_work.steps(STILL, 0.6)

    def test_they_latch(self, driving):
        at_work = driving(hold_backs=5, hold_backs_within="60 s")
        self.times(at_work, 4)
        assert not at_work.limits.why_stop
        self.times(at_work, 1)
        assert at_work.limits.why_stop == "held back too often"

    def test_one_that_lasts_counts_once(self, driving):
        at_work = driving(hold_backs=2)
        at_work.steps(AHEAD, 30.0, gap=0.01)
        assert not at_work.limits.why_stop

    def test_old_ones_do_not_count(self, driving):
        at_work = driving(hold_backs=5, hold_backs_within="10 s")
        self.times(at_work, 4)
        at_work.steps(STILL, 10.0)
        self.times(at_work, 4)
        assert not at_work.limits.why_stop

    def test_a_reset_begins_afresh(self, driving):
        at_work = driving(hold_backs=5)
        self.times(at_work, 5)
        at_work.limits.count_afresh()
        assert not at_work.limits.why_stop


def test_a_stop_is_zero_at_once(driving):
    at_work = driving()
    at_work.steps(Request(0.4, 1.0), 2.0)
    assert at_work.limits.stop() == (0.0, 0.0, None)


def test_after_a_stop_the_next_ramp_begins_at_zero(driving):
    at_work = driving()
    at_work.steps(Request(0.4, 1.0), 2.0)
    at_work.limits.stop()
    assert 0.0 < at_work.step(Request(0.4, 1.0)).speed < 0.05


class TestOtherDirections:
    def test_what_stands_behind_holds_reversing_back_and_nothing_else(self, driving):
        at_work = driving()
        near = Room(behind=0.05)
        assert at_work.steps(Request(-0.2), 1.0, room=near)[-1].speed == 0.0
        assert at_work.limits.causes == ("obstacle behind",)
        assert at_work.steps(Request(0.2, 0.5), 1.0, room=near)[-1][:2] == pytest.approx((0.2, 0.5))

    def test_reversing_ends_before_it(self, driving):
        at_work, gap = driving(), 1.0
        for _ in range(500):
            gap += at_work.step(Request(-0.4), room=Room(behind=gap)).speed * STEP
        assert gap == pytest.approx(0.08, abs=0.02)

    def test_what_the_jaws_may_touch_is_ahead_only(self, driving):
        request = Request(-0.1, expects_contact=True)
        assert driving().steps(request, 1.0, room=Room(behind=0.05))[-1].speed == 0.0

    def test_beside_a_thing_it_does_not_turn_on_the_spot_but_keeps_its_heading(self, driving):
        at_work, near = driving(), Room(beside=0.15)
        assert at_work.steps(Request(0.0, 0.8), 1.0, room=near)[-1].turn_rate == 0.0
        assert at_work.limits.causes == ("obstacle beside",)
        at_work = driving()
        assert at_work.steps(Request(0.3, 0.05), 1.0, room=near)[-1][:2] == pytest.approx((0.3, 0.05))

    def test_driving_along_it_steers(self, driving):
        assert driving().steps(Request(0.3, 0.6), 1.0, room=Room(beside=0.15))[-1].turn_rate == pytest.approx(0.6)

    def test_after_a_turn_that_was_held_back_it_drives_on_and_steers_at_once(self, driving):
        at_work = driving()
        at_work.steps(Request(0.0, 0.8), 0.2, room=Room(beside=0.15))
        assert at_work.limits.causes == ("obstacle beside",)
        assert at_work.steps(Request(0.3, 0.6), 0.3, room=Room(beside=0.15))[-1].turn_rate == pytest.approx(0.6)

    def test_farther_off_than_its_corners_reach_it_does(self, driving):
        assert driving().steps(Request(0.0, 0.8), 1.0, room=Room(beside=0.4))[-1].turn_rate == pytest.approx(0.8)


class TestContact:
    FRONT = (("contact front", FORWARDS),)

    @pytest.mark.parametrize("touches", [{}, {"expects_contact": True}, {"range_blocked": True}])
    def test_it_stops_what_pushes_on_in_the_same_step(self, driving, touches):
        at_work = driving()
        assert at_work.steps(Request(0.4, **touches), 2.0)[-1].speed > 0.1
        assert at_work.step(Request(0.4, **touches), contacts=self.FRONT).speed == 0.0

    def test_it_is_kept_up_for_a_while(self, driving):
        at_work = driving()
        at_work.step(AHEAD, contacts=self.FRONT)
        assert at_work.steps(AHEAD, 0.46)[-1].speed == 0.0
        assert at_work.steps(AHEAD, 0.2)[-1].speed > 0.0

    def test_other_motions_are_left_as_they_are(self, driving):
        at_work = driving()
        at_work.steps(Request(-0.1, 0.5), 1.0)
        assert at_work.step(Request(-0.1, 0.5), contacts=self.FRONT)[:2] == pytest.approx((-0.1, 0.5))
