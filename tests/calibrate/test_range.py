import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.calibrate import range as ranging
from rover.calibrate.findings import CalibrationError
from rover.calibrate.range import RulerSample

RULER = (0.2, 0.4, 0.7, 1.0, 1.4, 1.8)


def points(offset=0.0, scale=1.0, rulers=RULER):
    """Return points of a sensor that reports (true - offset) / scale, its pings 2 mm to either side."""
    return [
        RulerSample(ruler, tuple((ruler - offset) / scale + away for away in (-0.002, 0.0, 0.002)), 0)
        for ruler in rulers
    ]


def changes(found):
    return {change.key[-1]: (change.before, change.after) for change in found.changes}


@given(offset=st.floats(-0.05, 0.05), scale=st.floats(0.9, 1.1))
def test_the_line_is_that_of_the_sensor(offset, scale):
    line = ranging.fit(points(offset, scale))

    assert (line.offset, line.scale) == pytest.approx((offset, scale), abs=1e-9)


def test_a_true_sensor_changes_nothing(robot):
    assert ranging.findings((points(), 20.0), robot).changes == ()


def test_an_offset_moves_the_sensor_in_the_file(robot):
    """The wall is 15 mm further than reported: the sensor's face is that much further ahead than was thought."""
    assert changes(ranging.findings((points(0.015), 20.0), robot)) == {"ahead": ("100 mm", "115 mm")}


def test_the_air_is_put_into_the_file_and_explains_the_scale(fitted):
    """Converted with 20 degC while the air is at 0 degC: 1 m reads 1.0360 m (ISO 9613-1)."""
    pings = fitted(range={"driver": "echo_pins", "temperature": 20.0})
    found = ranging.findings((points(scale=1.0 / 1.0360), 0.0), pings)

    assert changes(found) == {"temperature": ("20.0 degC", "0.0 degC")}
    assert not any("look at ruler and sensor" in line for line in found.lines)


def test_a_scale_that_the_air_does_not_explain_is_told(robot):
    found = ranging.findings((points(scale=1.03), 20.0), robot)

    assert any("look at ruler and sensor" in line for line in found.lines)


def test_a_scale_that_no_air_makes_is_refused(robot):
    with pytest.raises(CalibrationError, match="no air does that"):
        ranging.findings((points(scale=2.54), 20.0), robot)


def test_a_misread_ruler_is_left_out_and_told(robot):
    misread = [point._replace(ruler=1.3) if point.ruler == 1.0 else point for point in points(0.015)]
    found = ranging.findings((misread, 20.0), robot)

    assert changes(found) == {"ahead": ("100 mm", "115 mm")}
    assert "left out: 1.300 m, which lies off the line of the others" in found.lines


def test_stray_pings_and_missing_echoes_are_counted_and_do_no_harm():
    noisy = RulerSample(1.0, (1.0, 1.01, 0.99, 1.0, 3.2, 0.2), 4)

    assert (noisy.median, noisy.strays) == (1.0, 2)


def test_a_wall_that_is_not_heard(robot):
    deaf = [point._replace(heard=(), missing=40) for point in points()]

    with pytest.raises(CalibrationError, match="echoes at 0 distances only"):
        ranging.findings((deaf, 20.0), robot)
    found = ranging.findings(([*points()[:4], deaf[-1]], 20.0), robot)
    assert "1.800 m: no echo in 40 pings" in found.lines


@pytest.mark.parametrize("seed", [1, 2])
def test_on_the_bench_the_sensor_is_true(seed, robot, stage):
    """The bench's noise is 1 cm, with strays and missing echoes: the line is found to millimetres."""
    _, drivetrain, assistant = stage(seed)
    measured = ranging.measure(drivetrain, assistant, robot)
    line = ranging.fit(measured[0])

    assert (line.offset, line.scale) == (pytest.approx(0.0, abs=0.006), pytest.approx(1.0, abs=0.006))


def test_a_silent_sensor(robot, stage):
    _, drivetrain, assistant = stage(faults=["at 0 s: range silent"])

    with pytest.raises(CalibrationError, match="range finder is silent"):
        ranging.measure(drivetrain, assistant, robot)


def test_no_sensor(fitted, stage):
    robot = fitted(range=None)
    _, drivetrain, assistant = stage(robot=robot)

    with pytest.raises(CalibrationError, match="no range finder"):
        ranging.measure(drivetrain, assistant, robot)
