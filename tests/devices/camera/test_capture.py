"""The thread that reads frames, on a capture that has OpenCV's names and gives the frames that a test hands it."""

import queue
from contextlib import closing

import numpy
import pytest

from rover.devices.camera.capture import CapturedFrames
from rover.devices.kernel.files import DeviceError
from rover.devices.protocols import Sensor

END = None


class Capture:
    """Grabs what the test puts into `frames`, one after the other; `END` is the end."""

    def __init__(self):
        self.frames, self.is_released = queue.Queue(), False
        self._grabbed = None

    def grab(self):
        self._grabbed = self.frames.get()
        self.frames.task_done()
        return self._grabbed is not END

    def retrieve(self):
        return True, self._grabbed

    def release(self):
        self.is_released = True


def shade(value):
    return numpy.full((48, 64, 3), value, numpy.uint8)


@pytest.fixture
def capture():
    return Capture()


def captured(capture, frames, latency=0.0):
    """Return a camera that has read some frames to their end."""
    camera = CapturedFrames(capture, "the camera", latency)
    for frame in (*frames, END):
        capture.frames.put(frame)
    camera._thread.join()
    return camera


def test_the_newest_frame_alone_is_kept_and_returned_once(capture):
    camera = captured(capture, [shade(1), shade(2), shade(3)])
    ((_, sequence, frame),) = camera.poll(0)
    assert (sequence, frame.image[0, 0, 0], frame.width, frame.height) == (3, 3, 64, 48)


def test_a_frame_was_taken_before_it_was_there(capture):
    early, late = captured(Capture(), [shade(1)], 0.5), captured(Capture(), [shade(1)])
    assert early.poll(0)[0].taken_ns < late.poll(0)[0].taken_ns


def test_the_end_is_told_after_the_last_frame_and_again_at_each_poll(capture):
    camera = captured(capture, [shade(1)])
    assert camera.poll(0)
    for _ in range(2):
        with pytest.raises(DeviceError, match="the camera gives no more pictures; was it unplugged or switched off"):
            camera.poll(0)


def test_whatever_reading_raises_is_told(capture):
    camera = captured(capture, ["no picture"])
    with pytest.raises(DeviceError, match="the camera cannot be read: AttributeError: 'str' object"):
        camera.poll(0)


def test_the_capture_is_released_by_its_thread_and_closing_twice_is_safe(capture):
    camera = captured(capture, [])
    camera.close()
    assert capture.is_released
    assert not camera._thread.is_alive()


def test_without_a_new_frame_nothing_is_reported(capture):
    with closing(CapturedFrames(capture, "the camera", 0.0)) as camera:
        assert isinstance(camera, Sensor)
        assert list(camera.poll(0)) == []
        capture.frames.put(END)
