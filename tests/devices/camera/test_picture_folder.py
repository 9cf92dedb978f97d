"""Pictures of a folder in place of a camera's, on a clock of the test's own."""

from concurrent.futures import Future

import numpy
import pytest

from rover.devices.camera.keys import PictureFolderKeys
from rover.devices.camera.picture_folder import Camera
from rover.devices.kernel.files import DeviceError
from rover.devices.protocols import DriverContext
from rover.devices.registry import load_driver

cv2 = pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")

MS = 1_000_000
BEGAN = 7_000 * MS


@pytest.fixture
def folder(tmp_path):
    for number, name in enumerate(("a.png", "b.png", "c.PNG")):
        good, content = cv2.imencode(".png", numpy.full((60, 80, 3), number, numpy.uint8))
        assert good
        (tmp_path / name).write_bytes(content)
    (tmp_path / "notes.txt").write_text("no picture")
    return tmp_path


def camera_of(folder, context=None, **keys):
    keys = {"rate": "10 Hz", **keys}
    options = PictureFolderKeys(folder=str(folder), **keys).options
    return Camera(options, context or DriverContext(None, 0, {}))


def shown(camera, times_ms):
    """Return (when it was taken in ms, sequence, shade) of each frame polled."""
    readings = [reading for ms in times_ms for reading in camera.poll(BEGAN + ms * MS)]
    return [((taken - BEGAN) / MS, number, int(frame.image[0, 0, 0])) for taken, number, frame in readings]


def test_the_short_name_is_this_driver():
    assert load_driver("camera", "picture_folder") is Camera


def test_they_come_by_name_at_their_rate_round_and_round(folder):
    times = range(0, 460, 20)
    assert shown(camera_of(folder), times) == [(0, 0, 0), (100, 1, 1), (200, 2, 2), (300, 3, 0), (400, 4, 1)]


def test_or_once(folder):
    assert shown(camera_of(folder, repeat=False), range(0, 900, 50)) == [(0, 0, 0), (100, 1, 1), (200, 2, 2)]


def test_those_whose_time_has_passed_are_left_out(folder):
    assert shown(camera_of(folder), (0, 520)) == [(0, 0, 0), (500, 5, 2)]


def test_a_poll_does_not_wait_for_a_picture_that_is_being_read(folder):
    begun = []

    def later(work):
        begun.append((work, Future()))
        return begun[-1][1]

    camera = camera_of(folder, DriverContext(None, 0, {}, meanwhile=later))
    assert shown(camera, (0, 100, 200)) == []
    ((work, future),) = begun
    future.set_result(work())
    assert shown(camera, (210,)) == [(0, 0, 0)]


def test_one_that_cannot_be_read_is_told_and_the_next_is_shown(folder):
    (folder / "b.png").write_bytes(b"no picture")
    camera = camera_of(folder)
    assert shown(camera, (0,)) == [(0, 0, 0)]
    with pytest.raises(DeviceError, match=r"b\.png is no picture that can be read"):
        camera.poll(BEGAN + 100 * MS)
    assert shown(camera, (110, 200)) == [(200, 2, 2)]


def test_a_closed_one_shows_no_more(folder):
    camera = camera_of(folder)
    camera.close()
    camera.close()
    assert shown(camera, (0, 100)) == []


@pytest.mark.parametrize(
    ("name", "told"),
    [("nowhere", "there is no folder .*nowhere"), ("notes.txt", "there is no folder"), ("empty", "has no pictures")],
)
def test_what_has_no_pictures_is_told(folder, name, told):
    (folder / "empty").mkdir()
    with pytest.raises(DeviceError, match=told):
        camera_of(folder / name)
