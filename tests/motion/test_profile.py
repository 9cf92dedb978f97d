import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rover.motion.profile import bearing_to, towards, turning

metres = st.floats(0.0, 20.0)


@given(distance=metres, most=st.floats(0.05, 2.0), deceleration=st.floats(0.1, 3.0))
def test_a_speed_is_never_faster_than_can_be_stopped(distance, most, deceleration):
    speed = towards(distance, most, deceleration, least=0.0)
    assert speed <= most
    assert speed**2 / (2.0 * deceleration) <= distance + 1e-9


@given(distance=st.floats(-20.0, 20.0), least=st.floats(0.01, 0.1))
def test_a_speed_has_the_sign_of_the_way_and_does_not_die_before_the_end(distance, least):
    speed = towards(distance, 0.5, 1.0, least)
    assert math.copysign(1.0, speed) == math.copysign(1.0, distance)
    assert least <= abs(speed) <= 0.5


@given(error=st.floats(-math.pi, math.pi), most=st.floats(0.1, 3.0), acceleration=st.floats(0.5, 10.0))
def test_a_turn_is_never_faster_than_can_be_stopped(error, most, acceleration):
    rate = turning(error, most, acceleration)
    assert abs(rate) <= most
    assert rate**2 / (2.0 * acceleration) <= abs(error) + 1e-9
    assert rate * error >= 0.0


@given(near=st.floats(0.001, 3.0), farther=st.floats(0.0, 3.0))
def test_farther_is_never_slower(near, farther):
    assert towards(near + farther, 0.5, 0.8) >= towards(near, 0.5, 0.8)
    assert turning(near + farther, 2.0, 4.0) >= turning(near, 2.0, 4.0)


@given(
    x=st.floats(-5.0, 5.0),
    y=st.floats(-5.0, 5.0),
    heading=st.floats(-math.pi, math.pi),
    distance=st.floats(0.01, 5.0),
    bearing=st.floats(-3.1, 3.1),
)
def test_a_bearing_leads_back_to_the_point(x, y, heading, distance, bearing):
    to_x, to_y = x + distance * math.cos(heading + bearing), y + distance * math.sin(heading + bearing)
    assume(math.hypot(to_x - x, to_y - y) > 0.005)
    assert bearing_to(x, y, heading, to_x, to_y) == pytest.approx((distance, bearing), abs=1e-6)
