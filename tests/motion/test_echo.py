"""What is remembered of the way ahead, from echoes that do not always come."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.readings import RangeValue
from rover.motion.echo import TURNED_AWAY, Echoes, EchoMemory, Room, swept_radius
from rover.motion.outline import BEFORE_TIPS

FRONT = 0.06
NO_ECHO, FAR = RangeValue(None), RangeValue(3.0)


def hearing(*distances):
    memory = EchoMemory(FRONT)
    for distance in distances:
        memory.hear(RangeValue(distance))
    return memory


class TestEchoMemory:
    def test_before_any_echo_the_way_is_free(self):
        assert EchoMemory(FRONT).gap == math.inf

    def test_the_gap_is_measured_from_the_front_of_the_body(self):
        assert hearing(1.0, 1.0, 1.0).gap == pytest.approx(0.94)

    def test_one_stray_echo_does_not_count(self):
        assert hearing(2.0, 2.0, 0.07).gap == pytest.approx(1.94)
        assert hearing(None, None, 0.07).gap == math.inf

    def test_two_of_three_do(self):
        assert hearing(2.0, 0.30, 0.31).gap == pytest.approx(0.25)

    def test_of_two_the_farther_counts_until_a_third_tells(self):
        assert hearing(2.0, 0.3).gap == hearing(0.3, 2.0).gap == pytest.approx(1.94)

    def test_only_what_was_turned_since_the_last_echo_counts(self):
        memory = hearing(0.2, 0.2, 0.2)
        memory.moved(0.0, 0.6 * TURNED_AWAY)
        memory.hear(RangeValue(0.2))
        memory.moved(0.0, 0.6 * TURNED_AWAY)
        assert memory.gap == pytest.approx(0.14)

    def test_after_a_close_echo_silence_means_still_close(self):
        """Too near, or at too flat an angle, the echo does not come back: that is no free way."""
        assert hearing(0.2, 0.2, 0.2, *[None] * 50).gap == pytest.approx(0.14)

    def test_after_a_far_echo_silence_means_a_free_way(self):
        assert hearing(1.5, 1.5, 1.5, None, None).gap == math.inf

    def test_the_way_travelled_is_taken_off(self):
        memory = hearing(0.4, 0.4, 0.4)
        memory.moved(0.1, 0.0)
        memory.hear(NO_ECHO)
        assert memory.gap == pytest.approx(0.24)

    def test_backing_off_from_something_close_frees_the_way_for_good(self):
        """Echoes heard before count from where they were heard, not from where the robot now is."""
        memory = hearing(0.1, 0.1, 0.1)
        memory.moved(-0.5, 0.0)
        memory.hear(NO_ECHO)
        assert memory.gap > 0.5
        memory.hear(NO_ECHO)
        assert memory.gap == math.inf

    def test_turning_away_in_many_small_steps_forgets_it(self):
        memory = hearing(0.1, 0.1, 0.1)
        steps = math.ceil(TURNED_AWAY / 0.02) + 1
        for _ in range(steps):
            memory.moved(0.0, 0.02)
            memory.hear(NO_ECHO)
        assert memory.gap == math.inf

    def test_swaying_to_and_fro_does_not(self):
        memory = hearing(0.1, 0.1, 0.1)
        for turned in [0.3, -0.3] * 20:
            memory.moved(0.0, turned)
            memory.hear(NO_ECHO)
        assert memory.gap == pytest.approx(0.04)

    @given(st.lists(st.tuples(st.none() | st.floats(0.03, 4.0), st.floats(-0.02, 0.02)), max_size=60))
    def test_a_gap_is_always_a_number_or_infinite(self, steps):
        memory = EchoMemory(FRONT)
        for distance, metres in steps:
            memory.hear(RangeValue(distance))
            memory.moved(metres, 0.0)
            assert not math.isnan(memory.gap)


def range_finder(**at):
    return {"family": "range", "driver": "simulated", "at": at}


REAR = range_finder(ahead="-10 cm", towards="180 deg")
LEFT = range_finder(left="10 cm", towards="90 deg")
OBLIQUE = range_finder(ahead="10 cm", towards="40 deg")


class TestEchoes:
    """Several range finders, each where it is mounted."""

    @pytest.fixture
    def heard(self, cart):
        def hear(devices, **distances):
            echoes = Echoes(cart(devices))
            for name, distance in distances.items():
                for _ in range(3):
                    echoes.hear(name, RangeValue(distance))
            return echoes

        return hear

    def test_without_any_echo_all_is_free(self, heard):
        assert heard({"rear": REAR, "beside": LEFT}).room == Room()

    @pytest.fixture
    def left(self, heard):
        """Hear something at a distance (m), go on by a way (m), and hear it no more."""

        def leave(distance, way, times=3):
            echoes = heard({}, range=distance)
            echoes.moved(way, 0.0)
            for _ in range(times):
                echoes.hear("range", FAR)
            return echoes

        return leave

    def test_what_leaves_a_beam_that_is_narrower_than_the_body_is_still_ahead(self, left):
        """At 40 cm a beam of 30 deg is 20 cm wide, the body 26 cm."""
        echoes = left(0.5, 0.1)
        assert echoes.room.ahead == pytest.approx(0.34)
        echoes.moved(0.6, 0.0)
        assert echoes.room.ahead > 1.0, "it has been passed"

    def test_so_does_it_not_once_the_robot_has_turned(self, left):
        echoes = left(0.4, 0.02)
        assert echoes.room.ahead < 0.4
        echoes.moved(0.0, 0.5)
        assert echoes.room.ahead > 1.0

    def test_what_is_gone_while_the_robot_stands_has_gone_by_itself(self, left):
        assert left(0.4, 0.001).room.ahead > 1.6

    def test_after_a_while_it_may_have_gone_too(self, left):
        """Somebody stepped across: who stands before where it was for two seconds goes on, but gently."""
        room = left(0.4, 0.02, times=35).room
        assert room.ahead > 1.6
        assert room.perhaps_ahead == pytest.approx(0.32)

    def test_heard_again_it_is_where_it_is_heard(self, left):
        echoes = left(0.5, 0.1)
        for _ in range(2):
            echoes.hear("range", RangeValue(0.45))
        assert echoes.room.ahead == pytest.approx(0.39)

    def test_far_off_the_beam_is_wider_than_the_body(self, left):
        assert left(1.5, 0.02).room.ahead > 1.6

    def test_one_that_looks_back_tells_of_what_is_behind(self, heard):
        """Its face is 10 cm behind the middle, the body's end 12 cm."""
        assert heard({"rear": REAR}, rear=0.5).room == Room(behind=pytest.approx(0.48))

    def test_driving_forwards_opens_the_gap_behind_and_closes_the_one_ahead(self, heard):
        echoes = heard({"rear": REAR}, rear=0.5, range=1.0)
        before = echoes.room
        echoes.moved(0.1, 0.0)
        assert echoes.room.behind == pytest.approx(before.behind + 0.1)
        assert echoes.room.ahead == pytest.approx(before.ahead - 0.1)

    def test_one_that_looks_aside_tells_how_far_from_the_middle_something_stands(self, heard):
        assert heard({"beside": LEFT}, beside=0.05).room == Room(beside=pytest.approx(0.15))

    def test_one_that_has_fallen_silent_tells_nothing_a_robots_length_later(self, heard):
        echoes = heard({"beside": LEFT}, beside=0.05)
        echoes.moved(-0.2, 0.0)
        assert echoes.room.beside == pytest.approx(0.15)
        echoes.moved(-0.1, 0.0)
        assert echoes.room.beside == math.inf

    def test_what_it_no_longer_hears_it_is_past(self, heard):
        echoes = heard({"beside": LEFT}, beside=0.05)
        for _ in range(2):
            echoes.hear("beside", NO_ECHO)
        assert echoes.room.beside == math.inf

    @pytest.mark.parametrize(("distance", "is_in_the_lane"), [(0.15, True), (0.6, False)])
    def test_one_that_looks_obliquely_tells_only_of_what_is_in_the_lane(self, heard, distance, is_in_the_lane):
        room = heard({"oblique": OBLIQUE}, oblique=distance).room
        assert (room.ahead < math.inf) == is_in_the_lane

    def test_of_several_the_nearest_counts(self, heard):
        second = range_finder(ahead="10 cm", left="8 cm")
        assert heard({"second": second}, range=1.0, second=0.4).room.ahead == pytest.approx(0.4 - FRONT)

    @given(towards=st.floats(-180.0, 180.0), distance=st.floats(0.03, 4.0), left=st.floats(-0.2, 0.2))
    def test_each_is_heard_in_one_direction_at_most(self, cart, towards, distance, left):
        echoes = Echoes(cart({"other": range_finder(left=f"{left:.4f} m", towards=f"{towards:.4f} deg")}))
        for _ in range(3):
            echoes.hear("other", RangeValue(distance))
        assert sum(gap < math.inf for gap in echoes.room) <= 1

    def test_the_swept_circle_is_that_of_corners_and_jaws(self, cart):
        body = cart().body
        assert swept_radius(cart()) == pytest.approx(body.gripper_reach + 0.02 + BEFORE_TIPS)
        assert swept_radius(cart({"gripper": None})) == pytest.approx(math.hypot(body.length, body.width) / 2.0)
