"""After a stall of the link all that was held up comes at once, device by device: it is taken in as it was taken."""

import math

import pytest

from rover.core import StepReadings
from rover.devices.readings import HeadingValue, Reading, WheelCounts
from rover.quantities import wrap

STEP_NS, EVERY = 20_000_000, 3
"""A turn rate comes with every third count."""
RATE = 1.4
TRUE_TRACK = 0.3
"""The robot file says 0.36 m: by the wheels alone a turn is a sixth too small."""


def turned_at(step):
    """Return the heading (rad) after so many steps: it turns for a second, slows down, and turns on."""
    seconds = step * 0.02
    return RATE * (seconds - 0.3 * math.sin(seconds * 2.0) / 2.0)


def rate_at(step):
    return RATE * (1.0 - 0.3 * math.cos(step * 0.04))


def taken_in(core, step):
    """Return what the co-processor reports in a step, as (device, reading)."""
    way = 0.5 * TRUE_TRACK * turned_at(step) / core.known.robot.body.metres_per_count
    readings = [("counts", Reading(step * STEP_NS, step, WheelCounts(round(-way), round(way))))]
    if step % EVERY == 0:
        angle = HeadingValue(wrap(turned_at(step)) + 1e-6 * (step % 2), rate_at(step), 3)
        readings.append(("heading", Reading(step * STEP_NS, step // EVERY, angle)))
    return readings


def error_after(core, held_up):
    """Return how wrong the heading is (deg) after a hundred steps, of which so many bring nothing, and then all."""
    waiting = []
    for step in range(1, 101):
        waiting += taken_in(core, step)
        if 50 <= step < 50 + held_up:
            core.step(StepReadings(step * STEP_NS))
            continue
        waiting.sort(key=lambda new: new[0])
        core.step(StepReadings(step * STEP_NS, waiting))
        waiting = []
    return math.degrees(wrap(core.known.filter.heading - turned_at(100)))


@pytest.mark.parametrize("held_up", [10, 25, 44])
def test_the_heading_is_as_right_as_if_it_had_come_in_time(stepping, held_up):
    in_time = stepping().core
    error = error_after(in_time, held_up=0)
    assert abs(error) < math.degrees(in_time.known.filter.sigmas[2])
    assert error_after(stepping().core, held_up) == pytest.approx(error, abs=0.01)
