"""Contact is bounded: wheels that are driven and stand are let go after a while, and after some times for good."""

import pytest

from rover.activities.activity import Activity
from rover.activities.registry import ACTIVITIES
from rover.behaviour.vocabulary import ActivitySpec
from rover.devices.readings import RangeValue, WheelCounts
from rover.events import HoldBack, Stop
from rover.motion.request import Request


def of(records, kind):
    return [event for record in records for event in record.events if isinstance(event, kind)]


BEHAVIOUR = """
behaviour: Push on
start: on
states:
  on: {does: push_on, exits: [{when: failed, go: over}, {when: done, go: over}, {after: 60 s, go: over}]}
  over: {final: failed}
"""


class PushOn(Activity):
    """Wants to drive on whatever comes, as a user's own activity may."""

    spec = ActivitySpec("drive on")

    def __init__(self, known, values):
        """Begin."""

    def step(self, known):
        return Request(0.1)


@pytest.fixture
def pushing(stepping):
    """A robot that drives on and on, whose wheels stand although the range finder hears nothing ahead."""
    at_work = stepping(BEHAVIOUR, {**ACTIVITIES, "push_on": PushOn})
    at_work.steps(1.0)
    at_work.turn_wheels = lambda: None
    return at_work


def test_wheels_that_do_not_count_once_in_two_pushes_latch_a_stop(pushing):
    records = pushing.steps(10.0, range=RangeValue(None))
    assert len([event for event in of(records, HoldBack) if event == HoldBack("stalled")]) == 2
    assert of(records, Stop) == [Stop("both sides are driven and not one count comes: wheels or counts stand still")]


def test_each_push_ends_in_a_few_seconds_and_some_in_a_minute_latch(pushing):
    records = []
    for second in range(20):
        records += pushing.steps(1.0, range=RangeValue(None), counts=WheelCounts(second, second))
    duties = [max(record.drive[:2]) for record in records]
    longest = max(len(run) for run in "".join("x" if duty else " " for duty in duties).split())
    assert longest * 0.02 < 3.0
    assert len([event for event in of(records, HoldBack) if event == HoldBack("stalled")]) == 5
    assert of(records, Stop) == [Stop("stalled too often")]
    assert set(duties[-100:]) == {0.0}
