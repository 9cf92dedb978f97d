"""The latched stop and the operator's hold.

The rules are those of the machinery standards named with them, and how far each was verified: seen, seen second-hand,
or from memory. This is software, not a certified safety function.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.core.stopping import Stopping
from rover.events import Stop


@pytest.fixture
def stopped():
    """A stop that the operator has latched."""
    stopping = Stopping([])
    stopping.stop("operator")
    return stopping


class TestStop:
    def test_it_is_not_stopped_before_a_stop(self):
        assert not Stopping([]).stopped

    def test_a_stop_latches_with_its_first_cause(self):
        """ISO 13849-1:2015, 5.2.2 (seen second-hand): hold the stop until safe restart conditions exist."""
        events = []
        stopping = Stopping(events)
        stopping.stop("operator")
        stopping.stop("something else")
        assert stopping.cause == "operator"
        assert events == [Stop("operator")]

    def test_a_reset_alone_moves_nothing(self, stopped):
        """Directive 2006/42/EC Annex I 1.2.4.3 (seen); ISO 13850:2015, 4.1.4 (memory): it only permits restarting."""
        stopped.reset()
        assert (stopped.stopped, stopped.is_resumed) == (True, False)

    def test_a_resume_without_a_reset_does_nothing(self, stopped):
        """IEC 60204-1, 9.2.3 (seen second-hand): stop functions override start functions."""
        stopped.resume()
        assert (stopped.stopped, stopped.is_resumed) == (True, False)

    def test_a_reset_and_then_a_resume_end_it(self, stopped):
        stopped.reset()
        stopped.resume()
        assert (stopped.stopped, stopped.is_resumed) == (False, True)

    def test_a_resume_counts_once(self, stopped):
        stopped.reset()
        stopped.resume()
        stopped.is_resumed = False  # the behaviour has gone on
        stopped.resume()
        assert not stopped.is_resumed

    def test_a_new_stop_after_the_reset_needs_a_new_reset(self, stopped):
        """ISO 13850:2015, 4.1.1 (seen second-hand): available at all times, overrides every other function."""
        stopped.reset()
        stopped.stop("the stop input is open")
        stopped.resume()
        assert stopped.stopped

    def test_a_reset_ahead_of_a_stop_is_worth_nothing(self):
        stopping = Stopping([])
        stopping.reset()
        stopping.stop("operator")
        stopping.resume()
        assert stopping.stopped

    @given(st.lists(st.sampled_from(["stop", "reset", "resume", "hold"]), max_size=20))
    def test_every_way_out_is_stop_then_reset_then_resume(self, acts):
        """In any order of acts, a stop ends only by a resume before which a reset came last."""
        stopping, last = Stopping([]), ""
        for act in acts:
            was_stopped = stopping.stopped
            if act == "stop":
                stopping.stop("cause")
            else:
                getattr(stopping, act)()
            assert not was_stopped or stopping.stopped or (act, last) == ("resume", "reset")
            last = act if act in ("stop", "reset") else last
            assert stopping.stopped or act != "stop"


class TestHold:
    def test_a_resume_alone_ends_it(self):
        stopping = Stopping([])
        stopping.hold()
        stopping.resume()
        assert (stopping.on_hold, stopping.is_resumed) == (False, True)

    def test_under_a_stop_a_resume_does_not(self, stopped):
        stopped.hold()
        stopped.resume()
        assert stopped.on_hold

    def test_it_ends_with_the_stop(self, stopped):
        stopped.hold()
        stopped.reset()
        stopped.resume()
        assert not stopped.on_hold

    def test_a_resume_where_nothing_is_held_or_stopped_is_none(self):
        stopping = Stopping([])
        stopping.resume()
        assert not stopping.is_resumed
