import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.calibrate.findings import CalibrationError
from rover.calibrate.runs import CalibrationRun, Geometry, WheelCountSeries, counts_of, headings_of, path, slip, turned
from rover.devices.readings import HeadingValue, Reading, WheelCounts
from rover.estimate.odometry import Odometer

TRACK = 0.4


def run_of(left_speed, right_speed, heading_rate, seconds=6.0, rate=None):
    """Return a run at wheel speeds and a turn rate given as functions of time, counts of 1 mm, reports at 50 Hz."""
    readings, left, right, heading = [], 0.0, 0.0, 0.0
    for number in range(round(seconds * 50)):
        now = number * 0.02
        left, right = left + left_speed(now) * 0.02, right + right_speed(now) * 0.02
        heading += heading_rate(now) * 0.02
        taken = round(now * 1e9)
        readings.append(("counts", Reading(taken, number, WheelCounts(round(left * 1e3), round(right * 1e3)))))
        told = heading_rate(now) if rate is None else rate(now)
        readings.append(("heading", Reading(taken, number, HeadingValue(heading, told))))
    return CalibrationRun(readings)


def test_the_path_of_a_quarter_circle():
    """Radius 1 m: 0.8 and 1.2 quarter turns of the wheels on a track of 0.4 m end at (1, 1), facing left."""
    quarter = math.pi / 2.0
    x, y, heading = path(
        WheelCountSeries(np.array([0, 1.0]), np.array([0, 0.8]), np.array([0, 1.2])), Geometry(quarter, quarter, 0.4)
    )

    assert (x[-1], y[-1], heading[-1]) == pytest.approx((1.0, 1.0, quarter))


@given(scales=st.tuples(st.floats(0.9, 1.1), st.floats(0.9, 1.1)))
def test_the_odometer_takes_scales_as_the_calibration_means_them(scales):
    odometer = Odometer(0.001, 1.0, scales)
    odometer.travel(Reading(0, 0, WheelCounts(0, 0)))

    assert odometer.travel(Reading(1_000_000_000, 1, WheelCounts(500, 400)))[:2] == pytest.approx(
        (0.5 * scales[0], 0.4 * scales[1])
    )


def test_turns_are_counted_on():
    run = run_of(lambda _: -0.2, lambda _: 0.2, lambda now: 2.0 if 1.0 <= now < 5.0 else 0.0)

    assert turned(run, 0.5) == pytest.approx(8.0)
    wrapped = CalibrationRun(
        [
            (name, r._replace(value=r.value._replace(angle=math.remainder(r.value.angle, math.tau))))
            if name == "heading"
            else (name, r)
            for name, r in run.readings
        ]
    )
    assert turned(wrapped, 0.5) == pytest.approx(8.0)


def test_a_wheel_that_slips_for_a_moment_is_seen():
    def rate(now):
        return -0.1 if 3.0 <= now < 3.4 else 0.0

    assert slip(run_of(lambda _: 0.25, lambda _: 0.25, rate)) == pytest.approx(0.04, abs=0.01)


@given(
    left=st.floats(0.05, 0.3),
    right=st.floats(0.05, 0.3),
    wheels=st.floats(0.9, 1.1),
    track=st.floats(0.2, 0.6),
    drift=st.floats(-0.01, 0.01),
)
def test_unequal_wheels_another_track_and_a_drifting_sensor_are_no_slip(left, right, wheels, track, drift):
    rate = (right * wheels - left) / track + drift

    assert slip(run_of(lambda _: left, lambda _: right, lambda _: rate)) == 0.0


def test_without_a_turn_rate_no_slip_is_seen():
    run = run_of(lambda _: 0.25, lambda _: 0.25, lambda now: -0.1 if 3.0 <= now < 3.4 else 0.0)
    mute = [
        (name, r._replace(value=r.value._replace(rate=None))) if name == "heading" else (name, r)
        for name, r in run.readings
    ]

    assert slip(run) > 0.0
    assert slip(CalibrationRun(mute)) == 0.0


def test_a_restart_of_the_counting_device_is_refused():
    readings = [("counts", Reading(n, n, WheelCounts(n, n, boot))) for n, boot in enumerate((0, 0, 1))]

    with pytest.raises(CalibrationError, match="restarted"):
        counts_of(CalibrationRun(readings))


@pytest.mark.parametrize(("read", "what"), [(counts_of, "wheel counts"), (headings_of, "heading")])
def test_a_run_without_reports_is_refused(read, what):
    with pytest.raises(CalibrationError, match=f"no {what} came in"):
        read(CalibrationRun([]))
