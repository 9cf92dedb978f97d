"""Frames of any camera, read by the vision: at once in a rehearsal, meanwhile on the robot."""

import sys
import types
from concurrent.futures import Future
from contextlib import closing
from functools import partial

import numpy
import pytest

from rover.devices.camera.keys import VideoKeys
from rover.devices.kernel.files import DeviceError
from rover.devices.meanwhile import at_once, in_a_thread
from rover.devices.protocols import Sensor
from rover.devices.readings import Detections, Fault, Frame, Reading
from rover.files.errand import Kind
from rover.files.robot import Colour
from rover.session import seeing as seeing_module
from rover.session.seeing import SeeingCamera
from rover.vision.detector import finder

cv2 = pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")

KINDS = {"amber": Kind.model_validate({"lid": "amber", "height": "60 mm", "width": "50 mm"})}
ROBOT = types.SimpleNamespace(colours={"amber": Colour(hue=(14, 26))}, marker=None)
KEYS = VideoKeys(frame_width=320, frame_height=240)
FIND = partial(finder, ROBOT, KINDS, KEYS)


def picture(seed, lid=True):
    image = numpy.clip(numpy.random.default_rng(seed).normal(150, 4, (240, 320, 3)), 0, 255).astype(numpy.uint8)
    if lid:
        cv2.ellipse(image, (160, 122), (12, 5), 0, 0, 360, (50, 166, 230), -1)
    return image


def frame(sequence, image=None):
    image = picture(sequence) if image is None else image
    return Reading(1000 * sequence, sequence, Frame(image, 320, 240))


class Camera:
    """Hands over what the test puts into `reports`, all at the next poll."""

    def __init__(self, *reports):
        self.reports, self.closed = list(reports), 0

    def poll(self, now_ns):
        reports, self.reports = self.reports, []
        return reports

    def close(self):
        self.closed += 1


class Later:
    """Does nothing before the test says so."""

    def __init__(self):
        self.due = []

    def __call__(self, work):
        self.due.append((work, Future()))
        return self.due[-1][1]

    def do(self):
        work, future = self.due.pop(0)
        future.set_result(work())


def seeing(*reports, meanwhile=at_once):
    return SeeingCamera(Camera(*reports), FIND, meanwhile)


def test_what_a_frame_shows_is_reported_as_taken_then_and_the_frame_is_kept_beside_it():
    camera = seeing(frame(1))
    assert isinstance(camera, Sensor)
    (reading,) = camera.poll(9999)
    assert reading[:2] == (1000, 1)
    assert isinstance(reading.value, Detections)
    assert [one.kind for one in reading.value.objects] == ["amber"]
    assert camera.frame[:2] == (1000, 1)
    assert camera.frame.value.image.shape == (240, 320, 3)


def test_what_is_no_frame_is_passed_on_as_it_is():
    reports = [Reading(1, 1, Detections(())), Reading(2, 2, Fault("the lens is out")), "no reading"]
    later = Later()
    assert seeing(*reports, meanwhile=later).poll(0) == reports
    assert later.due == []


class TestMeanwhile:
    def test_nobody_waits_and_of_the_frames_that_come_in_the_newest_is_next(self):
        later = Later()
        camera = seeing(frame(1), meanwhile=later)
        assert camera.poll(0) == []
        camera._camera.reports = [frame(2), frame(3)]
        assert camera.poll(0) == []
        assert len(later.due) == 1
        later.do()
        assert [reading.sequence for reading in camera.poll(0)] == [1]
        later.do()
        assert [reading.sequence for reading in camera.poll(0)] == [3]
        assert later.due == []

    def test_a_fault_waits_for_the_frame_before_it(self):
        later = Later()
        camera = seeing(frame(1), Reading(2000, 2, Fault("hot")), meanwhile=later)
        assert camera.poll(0) == []
        later.do()
        assert [reading.sequence for reading in camera.poll(0)] == [1, 2]

    def test_in_a_thread_it_comes_to_the_same(self):
        with closing(seeing(frame(1), meanwhile=in_a_thread)) as camera:
            while not (readings := camera.poll(0)):
                pass
        assert readings == seeing(frame(1)).poll(0)

    def test_closing_lets_what_is_being_looked_at_be(self, monkeypatch):
        monkeypatch.setattr(seeing_module, "FOUND_WITHIN_S", 60.0)
        camera = seeing(frame(1), meanwhile=in_a_thread)
        camera.poll(0)
        camera.close()
        assert camera._finding is None or camera._finding.done()
        assert camera._camera.closed == 1


class TestAFrameThatIsNoGood:
    @pytest.mark.parametrize(
        ("image", "told"),
        [
            (numpy.zeros((240, 320, 3), numpy.uint8), "too dark"),
            (numpy.full((240, 320, 3), 255, numpy.uint8), "too bright"),
            (picture(1)[:120], "320x120 pixels; the robot file's frame_width and frame_height say otherwise"),
            (picture(1)[:, :, 0], "no picture of blue, green and red"),
            ([[[0, 0, 0]]], "no picture of blue, green and red"),
            (None, "no picture of blue, green and red"),
        ],
    )
    def test_it_is_told_and_not_reported(self, image, told):
        camera = seeing(Reading(1, 1, Frame(image, 320, 240)))
        assert camera.poll(0) == []
        assert told in camera.trouble
        assert camera.frame is None

    def test_a_frozen_camera_falls_silent_and_comes_back(self):
        camera = seeing()

        def reported(seed):
            camera._camera.reports = [frame(1, picture(seed))]
            return bool(camera.poll(0))

        assert [reported(1) for _ in range(6)] == [True] * 4 + [False] * 2
        assert "stuck" in camera.trouble
        assert reported(2)
        assert camera.trouble == ""

    def test_many_of_them_are_a_remark(self):
        dark = numpy.zeros((240, 320, 3), numpy.uint8)
        camera = seeing()
        for number in range(10):
            camera._camera.reports = [frame(number, dark if number < 3 else None)]
            camera.poll(0)
        assert camera.remarks == ["3 of 10 frames were of no use: too dark"]


def test_frames_of_red_green_blue_turned_round_by_slicing_are_read_as_well():
    """The commonest way to turn a picture round; its memory runs backwards."""
    turned = picture(1)[:, :, ::-1].copy()[:, :, ::-1]
    (reading,) = seeing(frame(1, turned)).poll(0)
    assert [one.kind for one in reading.value.objects] == ["amber"]


class TestWhatTheDriverSaysOfItself:
    def test_its_trouble_is_told_where_the_frames_have_none(self):
        camera = seeing()
        camera._camera.trouble = "the lens is out"
        assert camera.trouble == "the lens is out"

    def test_a_frame_beside_its_own_detections_is_kept(self):
        camera = seeing(Reading(1, 1, Detections(())))
        camera._camera.frame = frame(1)
        camera.poll(0)
        assert camera.frame is camera._camera.frame

    def test_what_it_calls_frame_for_itself_is_not(self):
        camera = seeing()
        camera._camera.frame = picture(1)
        assert camera.frame is None


def test_without_the_package_a_camera_of_frames_is_told_what_brings_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(DeviceError, match="-m pip install 'opencv-python-headless"):
        seeing(frame(1)).poll(0)
    assert seeing(Reading(1, 1, Detections(()))).poll(0)
