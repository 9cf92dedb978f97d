"""Errands with drawn frames in place of detections: the vision code reads them, and the rest is as ever."""

import subprocess
import sys

import pytest

from rover.errors import UserError
from rover.events import HealthChange, Note, StateChange
from rover.record.reader import read
from rover.session.assembly import assemble, with_user_activities
from rover.session.on_bench import Rehearsal

# Nothing that only luck decides.
STEADY = {"gripper": {"missed": 0, "dropped": 0}, "link": {"stall_every": "0 s"}}
ALL_IN = ("done", "all_in", 1)


@pytest.fixture
def robot(files):
    """The cart, its camera far enough back that it sees what stands between the jaws."""
    camera = files.robot["devices"]["camera"] | {"ahead": "-8 cm"}
    colours = files.robot["colours"] | {"amber": {"hue": [14, 30], "saturation": [120, 255]}}
    return files.with_devices(camera=camera) | {"colours": colours}


@pytest.fixture
def rehearsed(files, robot, small_bay):
    """Rehearse one jar's errand rendered; gives the ended rehearsal, its result and its record."""

    def run(name="run", seed=1, wired=False, **bench):
        errand = files.errand({"objects": [small_bay.JAR], **STEADY, **bench}, robot=robot)
        path = errand.parent / f"{name}.sqlite"
        rehearsal = Rehearsal(*with_user_activities(errand, {}), seed, path, wired=wired, rendered=True)
        return rehearsal, rehearsal.run(lambda *_: None), read(path)

    return run


def ended(result):
    return result.result, result.reason, result.truth.delivered


def test_a_jar_is_found_in_the_frames_and_delivered(rehearsed, files):
    rehearsal, result, record = rehearsed()
    assert ended(result) == ALL_IN
    assert result.worst_axis_error_m < 0.10
    assert record.header["host"] == "rendered bench"
    assert rehearsal.remarks == []
    pictures = sorted((files.folder / "config" / "run.frames").glob("*.jpg"))
    assert len(pictures) == pytest.approx(result.robot_time_s, rel=0.05)  # one a second, as the robot file says


def test_one_seed_gives_one_run(rehearsed):
    (_, one, first), (_, again, second) = rehearsed("one"), rehearsed("again")
    assert (one.robot_time_s, one.steps, one.finds) == (again.robot_time_s, again.steps, again.finds)
    assert first.events_of(StateChange) == second.events_of(StateChange)


def test_a_jar_is_delivered_through_the_serial_line_too(rehearsed):
    _, result, record = rehearsed(seed=2, wired=True)
    assert ended(result) == ALL_IN
    assert record.header["host"] == "wired rendered bench"


@pytest.mark.parametrize(
    ("rendering", "why"),
    [({"light": 0.15}, "too dark"), ({"cast": "25 %"}, "all is tinted"), ({"cast": "-25 %"}, "all is tinted")],
)
def test_in_no_light_to_rely_on_the_robot_says_so_and_ends_without_running_into_anything(rehearsed, rendering, why):
    rehearsal, result, record = rehearsed(rendering=rendering)
    assert (result.result, result.truth.delivered) == ("failed", 0)
    [remark] = rehearsal.remarks
    assert f"were of no use: {why}" in remark
    assert remark in [note.text for note in record.events_of(Note)]
    assert result.truth.bumps == 0


def test_a_frozen_camera_is_noticed_and_the_errand_goes_on_when_it_is_back(rehearsed):
    _, result, record = rehearsed(faults=["at 3 s: camera frozen for 4 s"])
    health = [change.health.value for change in record.events_of(HealthChange) if change.device == "camera"]
    assert health[:3] == ["ok", "overdue", "ok"]
    assert any(note.text.startswith("camera: the same frame") for note in record.events_of(Note))
    assert ended(result) == ALL_IN


WAIT = {
    "behaviour": "Wait",
    "start": "wait",
    "states": {"wait": {"does": "stand_still", "exits": [{"after": "1 s", "go": "over"}]}, "over": {"final": "done"}},
}


@pytest.mark.parametrize(
    ("camera", "why"),
    [({"driver": "my_lab.eye:Camera"}, "own driver 'my_lab.eye:Camera'"), (None, "no 'camera:'")],
)
def test_what_cannot_be_rendered_is_said_before_anything_is_run(files, small_bay, camera, why):
    devices = files.robot["devices"] | {"camera": camera}
    robot = files.robot | {"devices": {family: device for family, device in devices.items() if device is not None}}
    files.write("wait.yaml", WAIT)
    errand = files.errand({"objects": [small_bay.JAR]}, robot=robot, behaviour="wait.yaml")
    record = errand.with_suffix(".sqlite")
    with pytest.raises(UserError, match=why):
        Rehearsal(assemble(errand, {}), {}, 1, record, rendered=True)
    assert not record.exists()


LIST = "import sys; from rover.commands.main import commands; commands.main(sys.argv[1:], standalone_mode=False); "
LIST += "print(*sorted(name for name in sys.modules if name == 'cv2' or 'render' in name), file=sys.stderr)"


def test_a_direct_rehearsal_loads_nothing_of_it(files, small_bay):
    errand = files.errand({"objects": [small_bay.JAR], **STEADY})
    command = [sys.executable, "-c", LIST, "rehearse", str(errand), "--json"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=files.folder, check=True)
    assert done.stderr.split() == []
