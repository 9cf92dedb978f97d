"""A person's own drivers, physics and activities, through the public interface and a folder given as --drivers."""

import json
import math
import os
import subprocess
import sys

import pytest

from rover.events import Health, HealthChange, Note
from rover.record.reader import read

# A known of the person's own: a robot that does at once what it is told, and two jars. Nothing of the bench is used.
MY_WORLD = """
import json
import math
from pathlib import Path

from rover.devices.readings import Detection, Detections, HeadingValue, RangeValue, Reading, WheelCounts

TOP_SPEED, TRACK, METRES_PER_COUNT, REACH, CAMERA = 0.6, 0.24, math.pi * 0.072 / 1320, 0.16, 0.06


class Knowledge:
    def __init__(self):
        self.now_ns, self.x, self.y, self.heading = 0, 1.5, 1.2, 0.0
        self.left = self.right = self.left_way = self.right_way = 0.0
        self.jars = {"amber": (2.5, 1.3), "teal": (2.3, 0.7)}
        self.held = None

    def advance(self, now_ns):
        seconds, self.now_ns = (now_ns - self.now_ns) * 1e-9, now_ns
        left, right = self.left * TOP_SPEED * seconds, self.right * TOP_SPEED * seconds
        self.left_way, self.right_way = self.left_way + left, self.right_way + right
        self.heading += (right - left) / TRACK
        self.x += 0.5 * (left + right) * math.cos(self.heading)
        self.y += 0.5 * (left + right) * math.sin(self.heading)
        if self.held:
            self.jars[self.held] = self.ahead(REACH)

    def ahead(self, metres):
        return self.x + metres * math.cos(self.heading), self.y + metres * math.sin(self.heading)


WORLD = Knowledge()


class Sensor:
    period_ns = 20_000_000

    def __init__(self, options, host):
        assert host.robot.robot == "A cart of my own"
        self.sequence = -1
        self.due_ns = 0

    def poll(self, now_ns):
        WORLD.advance(now_ns)
        if now_ns < self.due_ns:
            return ()
        self.due_ns = now_ns + self.period_ns
        self.sequence += 1
        return [Reading(now_ns, self.sequence, self.value())]

    def close(self):
        pass


class Counts(Sensor):
    def value(self):
        return WheelCounts(round(WORLD.left_way / METRES_PER_COUNT), round(WORLD.right_way / METRES_PER_COUNT))


class Heading(Sensor):
    def value(self):
        return HeadingValue(math.remainder(WORLD.heading, math.tau))


class Range(Sensor):
    def value(self):
        return RangeValue(None)


class Camera(Sensor):
    period_ns = 100_000_000

    def value(self):
        eye = WORLD.ahead(CAMERA)
        seen = []
        for kind, place in WORLD.jars.items():
            distance = math.dist(eye, place)
            bearing = math.remainder(math.atan2(place[1] - eye[1], place[0] - eye[0]) - WORLD.heading, math.tau)
            if 0.05 < distance < 2.5 and abs(bearing) < math.radians(30.0):
                seen.append(Detection(kind, bearing, distance, 0.005, 0.01 + 0.01 * distance, 0.1))
        return Detections(tuple(seen))


class Drive:
    def __init__(self, options, host):
        self.truth = Path(options["truth"])

    def apply(self, command, now_ns):
        WORLD.advance(now_ns)
        WORLD.left, WORLD.right = command.left, command.right

    def close(self):
        self.truth.write_text(json.dumps(WORLD.jars))


class Jaws:
    def __init__(self, options, host):
        pass

    def apply(self, command, now_ns):
        if command.opening is None or command.opening > 0.5:
            WORLD.held = None
        elif WORLD.held is None:
            near = {kind: math.dist(place, WORLD.ahead(REACH)) for kind, place in WORLD.jars.items()}
            kind = min(near, key=near.get)
            WORLD.held = kind if near[kind] < 0.05 else None

    def close(self):
        pass
"""

MY_MOVES = """
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.motion.request import Request


class Nod:
    spec = ActivitySpec("drive a little forward, for so many steps", can_fail=False)

    def __init__(self, known, values):
        self.progress, self.steps = Progress.UNDER_WAY, 0

    def step(self, known):
        self.steps += 1
        if self.steps == 50:
            self.progress = Progress.DONE
        return Request(0.1)


class Clumsy(Nod):
    spec = ActivitySpec("raises in mid-run")

    def step(self, known):
        raise RuntimeError("I stumbled")
"""
NODDING = """
behaviour: Nod
start: wake
states:
  wake:                                                     # before the first reports the wheels are held back
    does: stand_still
    exits: [{after: 2 s, go: nod}]
  nod:
    does: my_moves:Nod
    exits:
      - {when: done or failed, go: clumsy}
      - {after: 10 s, go: given_up}
  clumsy:
    does: my_moves:Clumsy
    exits:
      - {when: failed, go: over}
      - {when: done, go: given_up}
      - {after: 10 s, go: given_up}
  over: {final: done}
  given_up: {final: failed}
"""


def rehearsed(errand, drivers):
    """Run the command in a process of its own, so that modules of the same name do not meet."""
    return subprocess.run(
        [
            sys.executable,
            "-c",
            "from rover.commands.main import main; main()",
            "rehearse",
            str(errand),
            "--drivers",
            str(drivers),
            "--json",
        ],
        cwd=errand.parents[1],
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def my_folder(files):
    folder = files.folder / "mine"
    folder.mkdir()
    (folder / "myworld.py").write_text(MY_WORLD, encoding="utf-8")
    (folder / "my_moves.py").write_text(MY_MOVES, encoding="utf-8")
    return folder


def test_own_drivers_and_own_physics_deliver(files, my_folder):
    truth = files.folder / "truth.json"
    robot = {
        "robot": "A cart of my own",
        "body": files.robot["body"] | {"track_factor": 1},
        "colours": files.robot["colours"],
        "devices": {
            "drive": {"driver": "myworld:Drive", "top_speed": "0.6 m/s", "dead_band": "0 %", "truth": str(truth)},
            "counts": {"driver": "myworld:Counts"},
            "heading": {"driver": "myworld:Heading"},
            "range": {"driver": "myworld:Range"},
            "camera": {"driver": "myworld:Camera", "ahead": "6 cm", "tilt": "40 deg"},
            "gripper": {"driver": "myworld:Jaws"},
        },
    }
    (files.folder / "behaviours/collect.yaml").write_text(
        (files.folder / "behaviours/collect.yaml")
        .read_text("utf-8")
        .replace("  - {when: battery.rest_volts < settings.low_battery", "  # - {when: battery.rest_volts")
        .replace("  low_battery: 10.2 V", "  # low_battery: 10.2 V"),
        encoding="utf-8",
    )
    done = rehearsed(files.errand(None, robot=robot, expect=2), my_folder)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert (result["result"], result["reason"], result["delivered"], result["objects"]) == ("done", "all_in", 2, 2)
    jars = json.loads(truth.read_text("utf-8"))
    assert all(0.2 < x < 1.0 and 0.8 < y < 1.6 for x, y in jars.values())
    stood = {"amber": (2.5, 1.3), "teal": (2.3, 0.7)}
    for find in result["finds"]:
        assert math.dist((find["x_m"], find["y_m"]), stood[find["kind"]]) < 0.06
        assert find["axis_error_m"] is None
    run = read(files.folder / result["record"])
    assert result["truth"] is None
    assert (run.true_track, run.true_finds, run.final_objects, run.truth) == ((), {}, (), None)
    assert "loading myworld:Camera" in done.stderr


def test_own_activities_by_dotted_name(files, my_folder):
    (files.folder / "behaviours/nod.yaml").write_text(NODDING, encoding="utf-8")
    done = rehearsed(files.errand({}, behaviour="../behaviours/nod.yaml"), my_folder)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["reason"] == "over"
    run = read(files.folder / result["record"])
    assert run.true_track[-1].x == pytest.approx(1.5 + 0.1, abs=0.06)
    (fault,) = (note.text for note in run.events_of(Note) if note.kind == "fault")
    assert "RuntimeError: I stumbled" in fault


def test_an_own_driver_that_raises_is_a_device_lost_not_a_crash(files, my_folder):
    """Rule R12: the camera's driver gives up at its first frame, the run goes on to a result."""
    (my_folder / "broken.py").write_text(
        "class Camera:\n"
        "    def __init__(self, options, host): pass\n"
        "    def poll(self, now_ns): raise OSError('no frames')\n"
        "    def close(self): pass\n",
        encoding="utf-8",
    )
    robot = files.with_devices(camera=files.robot["devices"]["camera"] | {"driver": "broken:Camera"})
    done = rehearsed(files.errand({}, robot=robot), my_folder)
    assert done.returncode == 1, done.stderr
    result = json.loads(done.stdout)
    assert result["result"] == "failed"
    run = read(files.folder / result["record"])
    (lost,) = (change for change in run.events_of(HealthChange) if "no frames" in change.why)
    assert lost.health is Health.FAULTY
    remark = "camera: lost once, brought back 0 times, away at the end (its driver raised OSError: no frames)"
    assert done.stderr.splitlines()[-1] == remark
    assert Note("fault", remark) in run.events_of(Note)


HICCUPS = """
from rover import RangeValue, Reading

class Range:
    def __init__(self, options, context):
        self.sequence = 0

    def poll(self, now_ns):
        if 5.0 < now_ns * 1e-9 < 5.25:
            raise OSError(5, "Input/output error")
        self.sequence += 1
        return [Reading(now_ns, self.sequence, RangeValue(None))]

    def close(self):
        pass
"""


def test_an_own_driver_that_hiccups_is_back_and_each_rehearsal_is_the_same(files, my_folder):
    (my_folder / "hiccups.py").write_text(HICCUPS, encoding="utf-8")
    robot = files.with_devices(range=files.robot["devices"]["range"] | {"driver": "hiccups:Range"})
    errand, seen = files.errand({}, robot=robot), []
    for _ in range(2):
        done = rehearsed(errand, my_folder)
        assert "range: lost once, brought back once (its driver raised OSError" in done.stderr
        happenings = read(files.folder / json.loads(done.stdout)["record"]).happenings
        seen.append([(at_ns, event) for at_ns, event in happenings])
    changes = [(at_ns, event.health) for at_ns, event in seen[0] if getattr(event, "device", "") == "range"]
    assert changes[1:3] == [(5_020_000_000, Health.FAULTY), (5_320_000_000, Health.OK)]
    assert seen[0] == seen[1]


def test_a_driver_that_cannot_be_imported_is_named(files, my_folder):
    robot = files.with_devices(camera=files.robot["devices"]["camera"] | {"driver": "nowhere:Camera"})
    done = rehearsed(files.errand({}, robot=robot), my_folder)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "cannot import 'nowhere'" in done.stderr
