"""The camera driver on a recorded video: detections from its own thread, and silence about frames that are no good."""

import types
from contextlib import closing
from functools import partial

import cv2
import numpy
import pytest

from rover.devices.camera.keys import VideoKeys
from rover.devices.camera.video import Camera
from rover.devices.protocols import DriverContext, Sensor
from rover.devices.readings import Detections, Frame
from rover.devices.registry import load_driver
from rover.files.errand import Kind
from rover.files.robot import Colour
from rover.vision.detector import finder

KINDS = {"amber": Kind.model_validate({"lid": "amber", "height": "60 mm", "width": "50 mm"})}
ROBOT = types.SimpleNamespace(colours={"amber": Colour(hue=(14, 26))}, marker=None)
CONTEXT = DriverContext(ROBOT, 0, {}, finder_of=partial(finder, ROBOT, KINDS))
NOTHING_SOUGHT = DriverContext(ROBOT, 0, {}, finder_of=partial(finder, ROBOT, {}))


def frame_of(seed, lid=True):
    frame = numpy.clip(numpy.random.default_rng(seed).normal(150, 4, (240, 320, 3)), 0, 255).astype(numpy.uint8)
    if lid:
        cv2.ellipse(frame, (160, 122), (12, 5), 0, 0, 360, (50, 166, 230), -1)
    return frame


@pytest.fixture
def recorded(tmp_path):
    """Return a function that records frames (without loss: equal ones stay equal) and gives the driver's options."""

    def record(frames):
        path = tmp_path / "frames.avi"
        writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"FFV1"), 10.0, (320, 240))
        assert writer.isOpened()
        for frame in frames:
            writer.write(frame)
        writer.release()
        return VideoKeys(video=str(path), frame_width=320, frame_height=240).options

    return record


def test_the_short_name_video_is_this_driver():
    assert load_driver("camera", "video") is Camera


def test_detections_are_reported_and_their_frame_is_kept_beside_them(recorded):
    with closing(Camera(recorded([frame_of(seed) for seed in range(30)]), CONTEXT)) as camera:
        assert isinstance(camera, Sensor)
        assert camera.wait(30.0)
        (reading,) = camera.poll(0)
    assert isinstance(reading.value, Detections)
    assert [one.kind for one in reading.value.objects] == ["amber"]
    kept = camera.frame
    assert isinstance(kept.value, Frame)
    assert kept.sequence >= reading.sequence
    assert kept.value.image.shape == (240, 320, 3)


@pytest.mark.parametrize(
    ("frames", "told"),
    [
        ([numpy.zeros((240, 320, 3), numpy.uint8)] * 10, "too dark"),
        ([numpy.full((240, 320, 3), 255, numpy.uint8)] * 10, "too bright"),
    ],
    ids=["dark", "bright"],
)
def test_frames_that_are_no_good_are_not_reported_but_told(recorded, frames, told):
    camera = Camera(recorded([frame_of(0)]), CONTEXT)
    camera.close()
    camera.poll(0)
    for frame in frames:
        camera._put(1, Frame(frame, 320, 240))
    assert list(camera.poll(0)) == []
    assert told in camera.trouble


def test_a_frozen_camera_falls_silent_and_comes_back(recorded):
    camera = Camera(recorded([frame_of(0)]), CONTEXT)
    camera.close()
    camera.poll(0)

    def reported(frame):
        camera._put(1, Frame(frame, 320, 240))
        return bool(camera.poll(0))

    assert [reported(frame_of(1)) for _ in range(6)] == [True] * 4 + [False] * 2
    assert "stuck" in camera.trouble
    assert reported(frame_of(2))
    assert camera.trouble == ""


def test_without_an_errand_frames_are_empty(recorded):
    with closing(Camera(recorded([frame_of(seed) for seed in range(30)]), NOTHING_SOUGHT)) as camera:
        assert camera.wait(30.0)
        assert camera.poll(0)[0].value == Detections(())
