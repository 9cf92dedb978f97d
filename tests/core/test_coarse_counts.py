"""Counts of which only a few come in a second: what tells of them must not choose the moments at which they come."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from rover.core.drive_curve import DriveCurve
from rover.core.due import FASTER, Driven, Due
from rover.core.scale import NOTHING, Counted, Window
from rover.core.side import Moved, Side
from tests.core.rig import ROBOT, STEP

COARSE = ROBOT.model_copy(update={"body": ROBOT.body.model_copy(update={"counts_per_rev": 20})})
COUNT = COARSE.body.metres_per_count
BEGUN = st.floats(0.0, 1.0)
"""The share of a count that is gone when the wheel begins."""


def counts(speed: float, seconds: float, begun: float) -> list[float]:
    """Return the ways (m) that the steps count."""
    gone = [int(begun + speed * STEP * step / COUNT) for step in range(round(seconds / STEP) + 1)]
    return [COUNT * (after - before) for before, after in pairwise(gone)]


@given(swing=st.floats(0.0, 0.04), begun=BEGUN)
def test_a_control_that_gives_more_until_the_next_count_comes_makes_no_scale(swing, begun):
    """Its duty is fast just when a count is due, and its mean is what the speed takes."""
    drive = COARSE.devices.drive
    mean = FASTER * drive.dead_band - 0.005
    speed = (mean - drive.dead_band) / (1.0 - drive.dead_band) * drive.top_speed
    side, waited = Side(COARSE), 0.0
    for way in counts(speed, 30.0, begun):
        side.drive(mean + swing * (2.0 * waited * speed / COUNT - 1.0), speed, STEP)
        side.count(way, Moved(0.0, 0.0, 0), STEP)
        waited = 0.0 if way else waited + STEP
        assert side.scale.settled == 1.0


@given(speed=st.floats(0.02, 0.3), begun=BEGUN)
def test_windows_leave_out_no_wheel_that_keeps_up(speed, begun):
    """At 2 cm/s a count of 1 cm comes in every other window of 0.2 s."""
    window, kept = Window(COUNT), NOTHING
    for way in counts(speed, 30.0, begun):
        kept = kept.plus(window.add(Counted(Due(), way, speed * STEP), STEP) or NOTHING)
    assert abs(kept.way - kept.told) < 2.0 * COUNT
    assert kept.told > 30.0 * speed - 8.0 * COUNT


@given(speed=st.floats(0.02, 0.1), begun=BEGUN)
def test_a_line_is_learned_of_slow_wheels_as_of_fast_ones(speed, begun):
    curve, duty = DriveCurve(0.7, 0.1, COUNT), 0.2
    for way in counts(speed, 120.0, begun):
        curve.learn(Driven(duty * STEP, STEP, speed * STEP), way)
    due = curve.due(Driven(duty, 1.0, 0.2))
    assert abs(due.middle - speed) < 0.15 * speed
