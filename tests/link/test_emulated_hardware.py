import math

from rover.link.emulated_hardware import WheelsFree

SECOND = 1_000_000_000


def test_wheels_in_the_air_follow_the_duty():
    wheels = WheelsFree(counts_per_second=100.0)
    wheels.drive(0.5, -1.0, 0)
    wheels.drive(0.0, 0.0, 2 * SECOND)

    state = wheels.sample(3 * SECOND)

    assert (state.left, state.right) == (100, -200)
    assert math.isclose(state.volts, 12.3 - 0.15 * 0.3)
