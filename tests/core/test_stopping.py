"""The core's latch: what is noted of it, and when the behaviour goes on. The table itself: `tests/test_stopping.py`."""

import pytest

from rover.core.stopping import Stopping
from rover.events import Note, Stop
from rover.stopping import Act, Phase


@pytest.fixture
def events():
    return []


@pytest.fixture
def stopping(events):
    return Stopping(events)


def after(stopping: Stopping, *acts: Act) -> Stopping:
    for act in acts:
        stopping.act(act, act.value)
    return stopping


def test_it_moves_before_a_stop(stopping):
    assert stopping.effect.moves
    assert not stopping.is_resumed


def test_a_stop_is_noted_once_with_its_first_cause(stopping, events):
    stopping.stop("operator")
    stopping.stop("something else")
    assert stopping.cause == "operator"
    assert events == [Stop("operator")]


def test_the_behaviour_goes_on_at_the_resume_and_not_before(stopping):
    stopping.stop("operator")
    assert not after(stopping, Act.PRESS, Act.RELEASE).is_resumed
    assert after(stopping, Act.RESUME).is_resumed


def test_a_stop_before_the_behaviour_went_on_takes_the_resume_back(stopping):
    after(stopping, Act.STOP, Act.PRESS, Act.RELEASE, Act.RESUME).stop("again")
    assert not stopping.is_resumed


def test_a_new_stop_after_the_reset_is_noted_too(stopping, events):
    after(stopping, Act.STOP, Act.PRESS, Act.RELEASE).stop("the stop input is open")
    assert [event for event in events if isinstance(event, Stop)] == [Stop("stop"), Stop("the stop input is open")]


def test_a_stop_while_the_reset_is_pressed_is_the_same_stop(stopping, events):
    after(stopping, Act.STOP, Act.PRESS, Act.STOP)
    again = Note("operator", "stopped again before the reset was over")
    assert (stopping.phase, events) == (Phase.STOPPED, [Stop("stop"), Note("operator", "reset begun"), again])


def test_the_way_from_a_stop_to_motion_is_noted_step_by_step(stopping, events):
    after(stopping, Act.STOP, Act.PRESS, Act.RELEASE, Act.RESUME)
    said = [event.text for event in events if isinstance(event, Note)]
    assert said == ["reset begun", "reset", "motion resumed"]


def test_a_hold_leaves_its_mark_as_it_begins_and_ends(stopping, events):
    after(stopping, Act.HOLD, Act.RESUME)
    assert events == [Note("operator", "held: hold"), Note("operator", "hold ended")]
    assert stopping.is_resumed


def test_a_permission_that_lapses_is_noted_as_a_stop(stopping, events):
    after(stopping, Act.LAPSE)
    assert events == [Stop(Act.LAPSE.value)]
    assert after(stopping, Act.ENABLE).is_resumed


def test_an_act_says_why_it_does_nothing(stopping):
    assert stopping.act(Act.RELEASE) == "there is no stop to reset"
    assert stopping.act(Act.STOP, "operator") == ""
