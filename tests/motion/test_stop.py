"""The latched stop, and what is remembered of the way ahead.

The rules are those of the machinery standards as REFERENCE-VALUES section 12 gives them; the flag stands with each:
[S] seen, [S2] seen second-hand, [M] from memory. This is software, not a certified safety function.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.devices.readings import RangeValue
from rover.motion.limits import TURNED_AWAY, EchoMemory, StopLatch


class TestStopLatch:
    def test_it_is_not_stopped_before_a_stop(self):
        assert not StopLatch().stopped

    def test_a_stop_latches_with_its_first_cause(self):
        """ISO 13849-1:2015, 5.2.2 [S2]: hold the stop condition until safe restart conditions exist."""
        latch = StopLatch()
        assert latch.stop("operator")
        assert not latch.stop("something else")
        assert latch.cause == "operator"

    def test_a_reset_alone_moves_nothing(self):
        """Directive 2006/42/EC Annex I 1.2.4.3 [S]; ISO 13850:2015, 4.1.4 [M]: resetting only permits restarting."""
        latch = StopLatch()
        latch.stop("operator")
        latch.reset()
        assert latch.stopped

    def test_a_resume_without_a_reset_does_nothing(self):
        """IEC 60204-1, 9.2.3 [S2]: stop functions override start functions."""
        latch = StopLatch()
        latch.stop("operator")
        assert not latch.resume()
        assert latch.stopped

    def test_a_reset_and_then_a_resume_end_it(self):
        latch = StopLatch()
        latch.stop("operator")
        latch.reset()
        assert latch.resume()
        assert not latch.stopped

    def test_a_new_stop_after_the_reset_needs_a_new_reset(self):
        """ISO 13850:2015, 4.1.1 [S2]: available at all times, overrides every other function in all modes."""
        latch = StopLatch()
        latch.stop("operator")
        latch.reset()
        latch.stop("the stop input is open")
        assert not latch.resume()
        assert latch.stopped

    def test_a_reset_ahead_of_a_stop_is_worth_nothing(self):
        latch = StopLatch()
        latch.reset()
        latch.stop("operator")
        assert not latch.resume()

    @settings(deadline=None, derandomize=True)
    @given(st.lists(st.sampled_from(["stop", "reset", "resume"]), max_size=20))
    def test_every_way_out_is_stop_then_reset_then_resume(self, acts):
        """In any order of acts, a resume works only when the last act before it other than a resume was a reset."""
        latch, last = StopLatch(), ""
        for act in acts:
            was_stopped = latch.stopped
            if act == "stop":
                latch.stop("cause")
            elif act == "reset":
                latch.reset()
            elif latch.resume():
                assert was_stopped
                assert last == "reset"
            last = act if act != "resume" else last
            assert latch.stopped or act != "stop"


FRONT = 0.06
NO_ECHO = RangeValue(None)


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

    @settings(deadline=None, derandomize=True)
    @given(st.lists(st.tuples(st.none() | st.floats(0.03, 4.0), st.floats(-0.02, 0.02)), max_size=60))
    def test_a_gap_is_always_a_number_or_infinite(self, steps):
        memory = EchoMemory(FRONT)
        for distance, metres in steps:
            memory.hear(RangeValue(distance))
            memory.moved(metres, 0.0)
            assert not math.isnan(memory.gap)
