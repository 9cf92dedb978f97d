import math

import numpy as np
import pytest

from rover.calibrate import heading
from rover.calibrate.findings import CalibrationError
from rover.calibrate.runs import CalibrationRun
from rover.devices.readings import HeadingValue, Reading

DEGREE = math.pi / 180.0


def rest(true, off, noise=0.0, drift=0.0, reports=1200):
    """Return a minute of reports, ``off`` the true heading, with alternating noise and a steady drift (rad/s)."""
    seconds = np.arange(reports) * 0.05
    signs = np.where(np.arange(reports) % 2, 1.0, -1.0)
    return heading.RestMeasurement(seconds, true + off + noise * signs + drift * (seconds - np.mean(seconds)), true)


def changes(found):
    return {change.key[-1]: change.after for change in found.changes}


def test_offset_and_sigma_are_what_the_rest_shows(robot):
    found = heading.findings(rest(math.pi / 2.0, -12.0 * DEGREE, noise=0.8 * DEGREE), robot)

    assert changes(found) == {"offset": "12.00 deg", "sigma": "0.80 deg"}


def test_an_offset_is_added_to_the_one_in_the_file(fitted):
    found = heading.findings(rest(0.0, 5.0 * DEGREE), fitted(heading={"offset": 10.0 * DEGREE}))

    assert changes(found)["offset"] == "5.00 deg"


def test_an_offset_across_the_seam_is_the_short_way(robot):
    """True 179 deg, reported -179 deg: 2 deg less, not 358 deg more."""
    assert changes(heading.findings(rest(179.0 * DEGREE, 2.0 * DEGREE), robot))["offset"] == "-2.00 deg"


def test_a_sensor_without_noise_is_not_believed_to_be_perfect(robot):
    assert changes(heading.findings(rest(0.0, 0.1), robot))["sigma"] == "0.20 deg"


def test_drift_is_told_and_is_no_noise(robot):
    found = heading.findings(rest(0.0, 0.0, noise=0.5 * DEGREE, drift=3.0 * DEGREE / 60.0), robot)

    assert any("drift at rest 3.00 deg a minute" in line for line in found.lines)
    assert changes(found)["sigma"] == "0.50 deg"


def test_too_few_reports_are_refused(robot):
    with pytest.raises(CalibrationError, match="19 headings came in only"):
        heading.findings(rest(0.0, 0.0, reports=19), robot)


def turn(to):
    return CalibrationRun(
        [("heading", Reading(n * 10**8, n, HeadingValue(to * min(1.0, max(0.0, n / 20 - 1))))) for n in range(60)]
    )


def test_a_turn_to_the_left_that_counts_up_is_right():
    heading.check_direction(turn(math.pi / 2.0), went_left=True)


@pytest.mark.parametrize(
    ("angle", "went_left", "why"),
    [
        (-math.pi / 2.0, True, "mounted upside down"),
        (math.pi / 2.0, False, "swap_sides"),
        (0.05, True, "changed by 2.9 deg only"),
    ],
)
def test_a_wrong_direction_is_refused(angle, went_left, why):
    with pytest.raises(CalibrationError, match=why):
        heading.check_direction(turn(angle), went_left)


def test_on_the_bench_the_noise_of_the_floor_is_found(robot, stage):
    """1 deg of noise, and the place's bias and the sensor's drift of some 1 deg each as the offset."""
    _, drivetrain, assistant = stage(3)
    found = heading.findings(heading.measure(drivetrain, assistant, robot), robot)

    assert found.data["noise_rad"] == pytest.approx(DEGREE, rel=0.1)
    assert abs(found.data["mean_rad"] - found.data["true_rad"]) < 5.0 * DEGREE


def test_no_sensor(fitted, stage):
    robot = fitted(heading=None)
    _, drivetrain, assistant = stage(robot=robot)

    with pytest.raises(CalibrationError, match="no heading sensor"):
        heading.measure(drivetrain, assistant, robot)
