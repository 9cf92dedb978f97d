"""`rover look` on pictures, folders and a recorded video."""

import sys
from contextlib import closing

import cv2
import numpy
import pytest
from click.testing import CliRunner

from rover.calibrate import looking
from rover.commands.main import commands
from rover.errors import UserError
from tests.devices.camera.motion_jpeg import Server

ROBOT = """\
robot: Looker
body: {wheel_diameter: 7 cm, track: 24 cm, counts_per_rev: 1320, gripper_reach: 16 cm}
devices:
  drive: {driver: scripted}
  counts: {driver: scripted}
  camera: {driver: video}
colours:
  amber: {hue: [14, 26]}
"""
ERRAND = """\
errand: Look
files: {robot: robot.yaml, behaviour: none.yaml}
field: {boundary: [[0 m, 0 m], [1 m, 0 m], [1 m, 1 m]], start: {x: 0 m, y: 0 m}}
kinds: {jar: {lid: amber, height: 60 mm, width: 50 mm}}
"""


def picture(seed=1):
    frame = numpy.clip(numpy.random.default_rng(seed).normal(150, 4, (240, 320, 3)), 0, 255).astype(numpy.uint8)
    cv2.ellipse(frame, (160, 122), (12, 5), 0, 0, 360, (50, 166, 230), -1)
    return frame


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "robot.yaml").write_text(ROBOT)
    (tmp_path / "errand.yaml").write_text(ERRAND)
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    cv2.imwrite(str(pictures / "one.png"), picture())
    cv2.imwrite(str(pictures / "two.jpg"), numpy.zeros((240, 320, 3), numpy.uint8))
    (pictures / "three.png").write_bytes(b"no picture")
    (pictures / "notes.txt").write_text("no picture either")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def look(*arguments):
    return CliRunner().invoke(commands, ["look", *arguments], catch_exceptions=True)


def test_what_is_seen_is_told_and_drawn(folder):
    told = look("pictures/one.png", "--errand", "errand.yaml").output
    assert "jar  0.5" in told
    assert "patch of amber: " in told
    drawn = cv2.imread(str(folder / "looks" / "one-seen.png"))
    assert drawn.shape == (480, 640, 3)
    assert (drawn != cv2.resize(picture(), (640, 480), interpolation=cv2.INTER_NEAREST)).any()


def test_without_the_errand_patches_and_bearings_alone(folder):
    told = look("pictures/one.png", "--robot", "robot.yaml").output
    assert "bearing -0.1 deg" in told or "bearing +0.0 deg" in told or "bearing -0.0 deg" in told
    assert "--errand" in told


def test_without_a_robot_the_hues(folder):
    assert "hue 10 to 19: 0.2" in look("pictures/one.png").output


def test_a_folder_is_gone_through_and_what_is_no_picture_is_told(folder):
    told = look("pictures", "--errand", "errand.yaml")
    assert told.exit_code == 0
    assert "three: no picture that can be read" in told.output
    assert "two: 320x240; too dark" in told.output
    assert sorted(path.name for path in (folder / "looks").iterdir()) == ["one-seen.png", "two-seen.png"]


def test_a_recorded_video_is_looked_at_like_a_camera(folder):
    writer = cv2.VideoWriter(str(folder / "jars.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 10.0, (320, 240))
    for seed in range(20):
        writer.write(picture(seed))
    writer.release()
    assert "jar  0.5" in look("jars.avi", "--errand", "errand.yaml").output


def test_a_network_camera_is_looked_at_by_its_address(folder):
    with closing(Server(lambda number: picture(number))) as server:
        server.send(100)
        told = look(server.address, "--errand", "errand.yaml")
    assert "127.0.0.1: 320x240" in told.output
    assert "jar  0.5" in told.output


OWN = """
import cv2

from rover import Detections, Fault, Frame, Reading


class Picture:
    def __init__(self, options, context):
        self._number = 0

    def poll(self, now_ns):
        self._number += 1
        return [Reading(now_ns, self._number, self.value())]

    def value(self):
        return Frame(cv2.imread("pictures/one.png"), 320, 240)

    def close(self):
        pass


class Finds(Picture):
    def value(self):
        return Detections(())


class Hot(Picture):
    def value(self):
        return Fault("too hot")


class Silent(Picture):
    def poll(self, now_ns):
        return []
"""


class TestTheRobotsOwnCamera:
    @pytest.fixture
    def own(self, folder, monkeypatch):
        """Return what looks through a camera of one's own."""
        monkeypatch.setattr(looking, "WAIT_S", 0.1)
        monkeypatch.setattr(sys, "path", list(sys.path))
        (folder / "looking_cameras.py").write_text(OWN)

        def look_through(driver):
            (folder / "robot.yaml").write_text(ROBOT.replace("{driver: video}", f"{{driver: {driver}}}"))
            return look("--errand", "errand.yaml", "--drivers", ".")

        return look_through

    def test_whatever_its_driver_looks_where_no_source_is_named(self, own):
        told = own("'looking_cameras:Picture'").output
        assert told.startswith("loading looking_cameras:Picture\ncamera: 320x240\n  jar  0.5")
        assert "loading" not in own("picture_folder, folder: pictures, rate: 50 Hz").output

    @pytest.mark.parametrize(
        ("driver", "told"),
        [
            (
                "looking_cameras:Finds",
                "the camera's driver gives Detections(objects=()); to look at, a Frame is due",
            ),
            ("looking_cameras:Hot", "the camera says: too hot"),
            ("looking_cameras:Silent", "the camera gave no frame within 0.1 s"),
            ("simulated", "camera: a simulated driver works in a rehearsal only; name a real driver in the robot file"),
        ],
    )
    def test_why_it_cannot_is_told(self, own, driver, told):
        assert str(own(f"'{driver}'").exception) == told

    def test_without_a_robot_there_is_none(self, folder):
        assert "name a SOURCE, or by --robot or --errand the robot" in str(look().exception)


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("pictures/three.png", "no picture that can be read"),
        ("pictures/notes.txt", "no pictures"),
        ("empty", "has no pictures"),
        ("nothing.png", "there is no nothing.png"),
    ],
)
def test_what_cannot_be_looked_at_is_told(folder, source, told):
    (folder / "empty").mkdir()
    ended = look(source)
    assert isinstance(ended.exception, UserError)
    assert told in str(ended.exception)
