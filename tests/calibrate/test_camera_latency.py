"""Latency by turning to and fro before a marker, on traces made up with a known one."""

import math
import random
from pathlib import Path

import numpy as np
import pytest

from rover.calibrate.camera_latency import findings, latency_of
from rover.calibrate.findings import CalibrationError
from rover.calibrate.runs import CalibrationRun
from rover.calibrate.session import Order, practise
from rover.devices.readings import MARKER, Detection, Detections, HeadingValue, Reading
from rover.files.bench import BenchFile
from rover.files.load import load
from rover.files.robot import Robot

AHEAD = -0.08
AWAY = 1.5
SWING, PERIOD = math.radians(20.0), 3.0


def to_and_fro(second):
    return SWING * math.sin(2.0 * math.pi * second / PERIOD)


def evenly(second):
    return math.radians(20.0) * (second / 10.0 - 1.0)


def seen(heading):
    """Return the bearing of a marker straight ahead of the start, from a camera behind the robot's middle."""
    return math.atan2(-AWAY * math.sin(heading), AWAY * math.cos(heading) - AHEAD)


def traces(late, turn=to_and_fro, seed=1, seconds=20.0):
    """Return headings at 20 Hz and bearings at 10 Hz, noisy; each frame was taken ``late`` before its stamp."""
    draws = random.Random(seed)
    at = np.arange(0.0, seconds, 0.05)
    stamps = np.arange(1.0, seconds - 1.0, 0.1)
    headings = np.array([turn(second) + math.radians(draws.gauss(0.0, 0.2)) for second in at])
    bearings = np.array([seen(turn(stamp - late)) + math.radians(draws.gauss(0.0, 0.3)) for stamp in stamps])
    return (at, headings), (stamps, bearings)


@pytest.mark.parametrize("late", [-0.05, 0.0, 0.013, 0.12])
def test_lateness_is_found_to_a_few_milliseconds_and_as_well_as_is_stated(late):
    found = [latency_of(*traces(late, seed=seed)) for seed in range(40)]
    errors = [one.late - late for one in found]
    assert max(map(abs, errors)) < 0.005
    assert sum(abs(error) <= 1.96 * one.sigma for error, one in zip(errors, found, strict=True)) >= 34
    assert math.degrees(max(one.residual for one in found)) < 0.6


def test_turned_evenly_lateness_cannot_be_told():
    with pytest.raises(CalibrationError, match="to and fro"):
        latency_of(*traces(0.05, turn=evenly))


def test_a_marker_that_does_not_follow_the_heading_is_refused():
    headings, (stamps, _) = traces(0.05)
    draws = random.Random(3)
    with pytest.raises(CalibrationError):
        latency_of(headings, (stamps, np.array([draws.gauss(0.0, 0.2) for _ in stamps])))


def test_a_marker_hardly_seen_is_refused():
    headings, (stamps, bearings) = traces(0.05)
    with pytest.raises(CalibrationError, match="seen in 12 frames"):
        latency_of(headings, (stamps[:12], bearings[:12]))


@pytest.fixture
def robot():
    return Robot.model_validate(
        {
            "robot": "Looker",
            "body": {"wheel_diameter": "7 cm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
            "devices": {
                "drive": {"driver": "scripted"},
                "counts": {"driver": "scripted"},
                "heading": {"driver": "scripted"},
                "camera": {"driver": "video", "latency": "80 ms"},
            },
        }
    )


def test_the_files_latency_is_set_right_by_a_run(robot):
    (at, angles), (stamps, bearings) = traces(0.045)
    jar = Detection("amber", 0.3, 1.0, 0.01, 0.05, 0.1)
    readings = [
        ("heading", Reading(round(t * 1e9), n, HeadingValue(angle)))
        for n, (t, angle) in enumerate(zip(at, angles, strict=True))
    ]
    readings += [
        ("camera", Reading(round(t * 1e9), n, Detections((jar, Detection(MARKER, bearing, AWAY, 0.005, 0.03, 0.1)))))
        for n, (t, bearing) in enumerate(zip(stamps, bearings, strict=True))
    ]
    found = findings(CalibrationRun(readings), robot)
    (change,) = found.changes
    assert (change.key, change.before) == (("devices", "camera", "latency"), "80 ms")
    assert float(change.after.removesuffix(" ms")) == pytest.approx(125.0, abs=8.0)
    assert "older than the file has it" in found.lines[0]


def test_the_robot_on_the_bench_turns_to_and_fro_and_finds_its_frames_stamped_right():
    cart = load(Path(__file__).parents[2] / "config/cart.yaml", "robot").model
    data = practise(Order("latency"), cart, BenchFile(bench="Mild"), 1).found.data
    assert abs(data["late"]) < 0.010
    assert abs(data["late"]) < 3.0 * data["sigma"]
