"""The camera of the kernel on a real recorded video, and its locks on a capture with OpenCV's names."""

import sys
import types
from contextlib import closing
from pathlib import Path

import numpy
import pytest

from rover.devices.camera.keys import VideoKeys
from rover.devices.camera.video import Camera, Lock, complaint_of, locks_of, taken_ns
from rover.devices.kernel.files import DeviceError
from rover.devices.registry import load_driver

SECOND = 1_000_000_000
NAMES = types.SimpleNamespace(
    CAP_PROP_AUTO_EXPOSURE="auto exposure",
    CAP_PROP_EXPOSURE="exposure",
    CAP_PROP_GAIN="gain",
    CAP_PROP_AUTO_WB="auto white balance",
    CAP_PROP_WB_TEMPERATURE="temperature",
    CAP_PROP_AUTOFOCUS="auto focus",
    CAP_PROP_FOCUS="focus",
)


class Capture:
    """A camera that keeps what it is told, except for what it ignores."""

    def __init__(self, **ignores):
        self.values, self.ignores = {}, {name.replace("_", " "): value for name, value in ignores.items()}

    def set(self, name, value):
        self.values[name] = self.ignores.get(name, value)
        return True

    def get(self, name):
        return self.values[name]


def complaints(options, **ignores):
    capture = Capture(**ignores)
    return [why for lock in locks_of(options) if (why := complaint_of(lock, capture, NAMES))]


OPTIONS = VideoKeys().options
EVERYTHING = OPTIONS | {"exposure": 0.01, "gain": 40.0, "white_balance": 4600.0, "focus": 0.0}


def test_settings_are_locked_in_the_cameras_own_scale():
    assert complaints(EVERYTHING) == []
    assert locks_of(OPTIONS | {"exposure": 0.01}) == [
        Lock("exposure", "CAP_PROP_AUTO_EXPOSURE", 1, "CAP_PROP_EXPOSURE", 100.0)
    ]


def test_a_setting_left_out_is_left_alone():
    assert locks_of(OPTIONS) == []


def test_a_camera_that_ignores_a_setting_is_found_out():
    assert complaints(EVERYTHING, exposure=156.0) == ["'exposure' reads back 156, not 100"]
    assert complaints(EVERYTHING, auto_white_balance=1) == ["'white_balance' stays automatic"]
    assert complaints(EVERYTHING, gain=0.0, auto_focus=1) == ["'gain' reads back 0, not 40", "'focus' stays automatic"]


def test_a_frame_was_taken_at_its_buffers_stamp_less_the_latency():
    assert taken_ns(5_000.0, 5_030_000_000, 80_000_000) == 4_920_000_000


@pytest.mark.parametrize("stamp_ms", [0.0, 40.0, 9_000.0, -1.0])
def test_a_stamp_by_another_clock_is_not_used(stamp_ms):
    assert taken_ns(stamp_ms, 5 * SECOND, 80_000_000) == 5 * SECOND - 80_000_000


NEEDS_VISION = "needs the extra 'vision': pip install -e '.[vision]'"


@pytest.fixture
def recording(tmp_path):
    cv2 = pytest.importorskip("cv2", reason=NEEDS_VISION)
    path = tmp_path / "jars.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 10.0, (64, 48))
    for shade in range(0, 200, 10):
        writer.write(numpy.full((48, 64, 3), shade, numpy.uint8))
    writer.release()
    return path


def test_the_short_name_video_is_this_driver():
    assert load_driver("camera", "video") is Camera


def poll_to_the_end(camera, frames):
    while True:
        frames.extend(camera.poll(0))


def test_a_recorded_video_is_played_to_its_end_each_frame_at_most_once(recording):
    with closing(Camera(OPTIONS | {"video": str(recording)})) as camera:
        frames = []
        with pytest.raises(DeviceError, match=r"jars\.avi gives no more pictures"):
            poll_to_the_end(camera, frames)
    assert (frames[0].value.width, frames[0].value.height, frames[0].value.image.shape) == (64, 48, (48, 64, 3))
    sequences = [frame.sequence for frame in frames]
    assert sequences == sorted(set(sequences))
    assert sequences[-1] == 20


def test_what_is_no_camera_is_told(tmp_path):
    pytest.importorskip("cv2", reason=NEEDS_VISION)
    with pytest.raises(DeviceError, match="video9 is not there; is the device connected"):
        Camera(OPTIONS | {"video": str(tmp_path / "video9")})
    (tmp_path / "text").write_text("no video")
    with pytest.raises(DeviceError, match="gives no pictures; is another program using it"):
        Camera(OPTIONS | {"video": str(tmp_path / "text")})


def test_a_missing_package_is_told_with_how_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(DeviceError, match="-m pip install 'opencv-python-headless"):
        Camera(OPTIONS)


LOOPBACKS = [
    Path("/dev") / path.name
    for path in sorted(Path("/sys/class/video4linux").glob("video*"))
    if "Dummy" in (path / "name").read_text() or "Loopback" in (path / "name").read_text()
]


@pytest.mark.skipif(not LOOPBACKS, reason="needs a loop-back camera: a kernel with v4l2loopback")
def test_a_camera_of_the_kernel_that_gives_no_pictures_is_told():
    pytest.importorskip("cv2", reason=NEEDS_VISION)
    with pytest.raises(DeviceError):
        Camera(OPTIONS | {"video": str(LOOPBACKS[0])})
