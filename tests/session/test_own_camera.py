"""Cameras that hand over raw frames, rehearsed and on an emulated robot: the project's vision reads them."""

import json
import subprocess
import sys
import time
from contextlib import closing

import numpy
import pytest

from rover.events import Health, HealthChange
from rover.record.reader import read
from tests.devices.camera.motion_jpeg import Server

pytestmark = pytest.mark.real_time

cv2 = pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")

LID = """
import numpy

from rover import Frame, Reading


class Lid:
    '''Sees one amber lid straight ahead.'''

    def __init__(self, options, context):
        self._every_ns, self._next_ns, self._number = round(1e9 / options["rate"]), 0, 0
        self._noise = numpy.random.default_rng(context.seed)

    def poll(self, now_ns):
        if now_ns < self._next_ns:
            return []
        self._next_ns, self._number = now_ns + self._every_ns, self._number + 1
        return [Reading(now_ns, self._number, Frame(self.picture(), 320, 240))]

    def picture(self):
        image = self._noise.normal(150, 4, (240, 320, 3)).clip(0, 255).astype(numpy.uint8)
        image[119:129, 148:172] = (50, 166, 230)
        return image

    def close(self):
        pass


class Bare(Lid):
    '''Forgets the Frame round its pictures.'''

    def poll(self, now_ns):
        return [reading._replace(value=reading.value.image) for reading in super().poll(now_ns)]
"""
LOOK = """
behaviour: Look
start: look
states:
  look:
    does: stand_still
    exits:
      - {when: target.known, confirm: for 500 ms, go: seen}
      - {after: 5 s, go: nothing}
  seen: {final: done}
  nothing: {final: failed}
"""
COLOURS = {"amber": {"hue": [14, 26]}}
KINDS = {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}}
SIZE = {"frame_width": 320, "frame_height": 240, "height": "22 cm", "tilt": "15 deg"}


@pytest.fixture
def looking(stand):
    """Return what writes robot and errand with a camera; the folder of drivers of one's own is filled."""
    drivers = stand.own_module("cameras", LID)
    (stand.folder / "behaviours/look.yaml").write_text(LOOK)

    def write(**camera):
        stand.robot["devices"]["camera"] = SIZE | camera
        stand.robot["colours"] = COLOURS
        stand.robot.pop("marker", None)
        stand.write("look.yaml", kinds=KINDS)
        return drivers

    return write


def rehearsed(stand, drivers, *more):
    """Rehearse in a process of its own; return the result."""
    command = [sys.executable, "-m", "rover", "rehearse", stand.errand, "--drivers", drivers, "--json", *more]
    ended = subprocess.run(command, cwd=stand.folder, capture_output=True, text=True, timeout=60)
    return json.loads(ended.stdout)


def camera_troubles(record):
    changes = [change for change in read(record).events_of(HealthChange) if change.device == "camera"]
    return [change.why for change in changes if change.health is Health.FAULTY]


def frames_beside(path):
    return sorted(path.with_suffix(".frames").glob("*.jpg"))


def test_in_a_rehearsal_one_seed_gives_one_run(stand, looking):
    drivers = looking(driver="cameras:Lid")
    first, second = (rehearsed(stand, drivers, "--seed", "4") for _ in range(2))
    assert first["result"] == "done"
    assert [first[key] for key in ("reason", "steps")] == [second[key] for key in ("reason", "steps")]
    frame, *_ = frames_beside(stand.folder / first["record"])
    assert cv2.imread(str(frame)).shape == (240, 320, 3)


def test_what_is_no_frame_is_told_in_a_line(stand, looking):
    result = rehearsed(stand, looking(driver="cameras:Bare"))
    assert result["result"] == "failed"
    (why,) = camera_troubles(stand.folder / result["record"])
    assert why.startswith("gives impossible values (array([[[1")
    assert len(why) < 120


def test_on_the_robot_they_are_found_in_meanwhile_and_kept_beside_the_record(stand, looking):
    drivers = looking(driver="cameras:Lid")
    stand.emulate()
    code, _, said = stand.run("--enable-motion", "--drivers", drivers)
    assert code == 0, said
    assert frames_beside(next((stand.folder / "runs").glob("*.sqlite")))


def picture(number):
    image = numpy.random.default_rng(number).normal(150, 4, (240, 320, 3)).clip(0, 255).astype(numpy.uint8)
    image[119:129, 148:172] = (50, 166, 230)
    return image


def test_pictures_of_a_folder_beside_the_robot_file_are_played_on_the_robot(stand, looking):
    looking(driver="picture_folder", folder="pictures")
    (stand.folder / "config/pictures").mkdir()
    for number in range(3):
        assert cv2.imwrite(str(stand.folder / f"config/pictures/{number}.png"), picture(number))
    stand.emulate()
    code, _, said = stand.run("--enable-motion")
    assert code == 0, said


def test_a_folder_that_is_not_there_is_told_before_the_start(stand, looking):
    looking(driver="picture_folder", folder="pictures")
    stand.emulate()
    assert stand.refused().endswith("/config/pictures")


TWICE = """
behaviour: See it, lose the camera, see it again
start: look
states:
  look:
    does: stand_still
    exits: [{when: target.known, go: lose}, {after: 10 s, go: nothing}]
  lose:
    does: stand_still
    exits: [{when: not camera.ok, go: again}, {after: 10 s, go: nothing}]
  again:
    does: stand_still
    exits: [{when: camera.ok, confirm: 3 of 3, go: seen}, {after: 10 s, go: nothing}]
  seen: {final: done}
  nothing: {final: failed}
"""


def test_a_network_camera_that_goes_away_is_called_again(stand, looking):
    frames_each = 40
    with closing(Server(lambda number: picture(number) if number <= frames_each else None)) as server:
        looking(driver="network_camera", address=server.address)
        (stand.folder / "behaviours/look.yaml").write_text(TWICE)
        stand.emulate()
        process = stand.start("--enable-motion")
        while process.poll() is None:
            server.send(1)
            time.sleep(0.02)
    assert process.returncode == 0, stand.said
    (why, *_) = camera_troubles(next((stand.folder / "runs").glob("*.sqlite")))
    assert why == f"{server.address} gives no more pictures; was it unplugged or switched off?"
