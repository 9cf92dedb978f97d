"""What moves by drivers of one's own: tried by halting the program, and no motion before that; with real processes."""

import json
import os
import pty
import select
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
import yaml

from rover.files import load
from rover.files.robot import Robot
from rover.guard.launch import is_at_work, retire
from rover.readiness import tried
from rover.readiness.tried import TriedError, moving_parts, note_tried, path_beside, untried
from rover.session.hardware import with_ports

pytestmark = pytest.mark.real_time

ROOT = Path(__file__).parents[2]
PATIENCE_S = 40.0
# A motor driver board of a person's own: wheels turn as told last; with a deadline they stand when nothing comes.
BOARD = """
import socket, sys, time

deadline_s, port = float(sys.argv[1]), int(sys.argv[2])
line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
line.bind(("127.0.0.1", port))
line.settimeout(0.005)
duty, told_s, counts, last_s = 0.0, 0.0, 0.0, time.monotonic()
while True:
    try:
        said, sender = line.recvfrom(100)
        if said == b"?":
            line.sendto(b"%d" % counts, sender)
        else:
            duty, told_s = float(said), time.monotonic()
    except TimeoutError:
        pass
    now_s = time.monotonic()
    if deadline_s and now_s - told_s > deadline_s:
        duty = 0.0
    counts, last_s = counts + 3000.0 * duty * (now_s - last_s), now_s
"""
DRIVERS = """
import socket

from rover import Reading, WheelCounts


class Line:
    def __init__(self, options, context):
        self.line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.line.connect(("127.0.0.1", int(options["port"])))
        self.line.setblocking(False)

    def close(self):
        self.line.close()


class Wheels(Line):
    def apply(self, command, now_ns):
        if now_ns < command.expires_ns:
            self.line.send(b"%.3f" % command.left)


class Unpowered(Line):
    def apply(self, command, now_ns):
        pass


class Counts(Line):
    sequence = 0

    def poll(self, now_ns):
        self.line.send(b"?")
        found = []
        while True:
            try:
                counts = int(self.line.recv(100))
            except BlockingIOError:
                return found
            self.sequence += 1
            found.append(Reading(now_ns, self.sequence, WheelCounts(counts, counts)))


class Lift(Line):
    def apply(self, command, now_ns):
        self.line.send(b"%.3f" % command.value)
"""


def free_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.bind(("127.0.0.1", 0))
        return line.getsockname()[1]


class Workshop:
    """A robot whose drive is a board of the person's own, and the commands run on it at a terminal."""

    def __init__(self, folder):
        self.folder, self.port = folder, free_port()
        (folder / "config").mkdir()
        shutil.copytree(ROOT / "behaviours", folder / "behaviours")
        (folder / "board.py").write_text(BOARD)
        (folder / "own").mkdir()
        (folder / "own/my_own.py").write_text(DRIVERS)
        self.robot_file = folder / "config/robot.yaml"
        self.boards = []

    def put(self, deadline_s=0.25, outputs=None, **drive):
        robot = {
            "robot": "One with a board of its own",
            "body": {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
            "devices": {
                "drive": {"driver": "my_own:Wheels", "port": self.port, "own_deadline": "300 ms"} | drive,
                "counts": {"driver": "my_own:Counts", "port": self.port},
            },
            "outputs": outputs or {},
        }
        self.robot_file.write_text(yaml.safe_dump(robot, sort_keys=False))
        for board in self.boards:
            board.kill()
            board.wait()
        arguments = [str(deadline_s), str(self.port)]
        self.boards = [subprocess.Popen([sys.executable, str(self.folder / "board.py"), *arguments])]

    def write_errand(self):
        errand = {
            "errand": "Round the field",
            "files": {"robot": "robot.yaml", "behaviour": "../behaviours/rectangle.yaml"},
            "field": {
                "boundary": [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]],
                "start": {"x": "3 m", "y": "2 m", "heading": "0 deg"},
            },
        }
        (self.folder / "config/errand.yaml").write_text(yaml.safe_dump(errand))

    def at_terminal(self, *arguments, answers, until=None):
        """Run a command at a terminal; return its exit code and what was on the screen."""
        there, here = pty.openpty()
        command = [sys.executable, "-m", "rover", *arguments, "--guard", str(self.folder / "g"), "--drivers", "own"]
        process = subprocess.Popen(command, cwd=self.folder, stdin=here, stdout=here, stderr=here, close_fds=True)
        os.close(here)
        screen, answered, ends_s = "", dict.fromkeys(answers, 0), time.monotonic() + PATIENCE_S
        while time.monotonic() < ends_s:
            if select.select([there], [], [], 0.1)[0]:
                try:
                    screen += os.read(there, 4096).decode(errors="replace")
                except OSError:
                    break
            for question, answer in answers.items():
                if screen.count(question) > answered[question]:
                    answered[question] += 1
                    os.write(there, f"{answer}\n".encode())
            if until and until in screen:
                until = None
                process.terminate()
            if process.poll() is not None and not select.select([there], [], [], 0.0)[0]:
                break
        process.kill()
        os.close(there)
        return process.wait(), screen

    def bring_up(self, *options, answer="yes"):
        only = ["bring-up", "config/robot.yaml", "--only", "own_deadlines", *options]
        return self.at_terminal(*only, answers={"off the ground?": "yes", "by itself while": answer})

    def counts(self):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
            line.settimeout(PATIENCE_S)
            line.sendto(b"?", ("127.0.0.1", self.port))
            return int(line.recv(100))

    def untried(self):
        return untried(self.robot_file, load.load(self.robot_file, "robot").model)


@pytest.fixture
def workshop():
    with tempfile.TemporaryDirectory(prefix="r-") as name:
        folder = Path(name)
        made = Workshop(folder)
        yield made
        for board in made.boards:
            board.kill()
            board.wait()
        if is_at_work(folder / "g"):
            retire(folder / "g")


def test_a_board_with_a_deadline_is_believed_once_it_has_been_tried(workshop):
    workshop.put()
    assert workshop.untried() == ["drive"]
    code, screen = workshop.bring_up()
    assert "drive: came to rest" in screen, screen
    assert code == 0
    assert workshop.untried() == []


def test_one_without_is_found_out_by_the_counts_whatever_the_person_says(workshop):
    workshop.put(deadline_s=0.0)
    code, screen = workshop.bring_up()
    assert "drive: WENT ON" in screen, screen
    assert "the device of 'drive' has no deadline that works" in screen
    assert code == 1
    assert workshop.untried() == ["drive"]
    counts = workshop.counts()
    time.sleep(0.2)
    assert workshop.counts() == counts, "the wheels were left turning"


def test_wheels_that_never_turned_have_not_been_seen_to_come_to_rest(workshop):
    workshop.put(driver="my_own:Unpowered")
    code, screen = workshop.bring_up("--yes-to-all")
    assert (code, "drive: not seen to move" in screen) == (0, True), screen
    assert workshop.untried() == ["drive"]


def test_counts_of_ones_own_prove_nothing_with_nobody_there(workshop):
    """They may be made up of what was commanded; but that they went on is believed."""
    workshop.put()
    code, screen = workshop.bring_up("--yes-to-all")
    assert (code, "drive: not seen to move" in screen) == (0, True), screen
    assert workshop.untried() == ["drive"]


def test_nor_is_one_of_which_the_person_says_that_it_went_on(workshop):
    workshop.put()
    code, screen = workshop.bring_up(answer="no")
    assert (code, "drive: WENT ON" in screen) == (1, True), screen


def test_jog_and_run_move_nothing_before(workshop):
    workshop.put()
    code, screen = workshop.at_terminal("jog", "config/robot.yaml", answers={})
    assert code == 2
    assert "drive: not yet seen to come to rest without commands, so nothing moves" in screen
    workshop.write_errand()
    code, screen = workshop.at_terminal("run", "config/errand.yaml", "--enable-motion", answers={})
    assert "not in order: own deadlines; nothing was moved" in screen, screen
    assert code == 2


def test_after_the_trial_a_run_drives_and_a_stop_reaches_the_wheels(workshop):
    workshop.put()
    workshop.bring_up()
    workshop.write_errand()
    code, screen = workshop.at_terminal("run", "config/errand.yaml", "--enable-motion", answers={}, until="/along")
    assert "own deadlines" in screen, screen
    assert code == 143


def test_a_changed_block_is_to_be_tried_again(workshop):
    workshop.put()
    robot = load.load(workshop.robot_file, "robot").model
    note_tried(workshop.robot_file, robot, {"drive": True})
    assert workshop.untried() == []
    workshop.put(own_deadline="400 ms")
    assert workshop.untried() == ["drive"]


def test_one_that_has_failed_a_later_trial_is_believed_no_more(workshop):
    workshop.put()
    robot = load.load(workshop.robot_file, "robot").model
    note_tried(workshop.robot_file, robot, {"drive": True})
    note_tried(workshop.robot_file, robot, {"drive": False})
    assert workshop.untried() == ["drive"]


def test_a_trial_on_another_line_or_computer_says_nothing_of_this_one(workshop, tmp_path, monkeypatch):
    workshop.put(link="base")
    robot = Robot.model_validate(
        yaml.safe_load(workshop.robot_file.read_text()) | {"links": {"base": {"port": "/dev/ttyUSB0"}}}
    )
    note_tried(workshop.robot_file, with_ports(robot, {"base": "emulated"}), {"drive": True})
    assert untried(workshop.robot_file, robot) == ["drive"]
    note_tried(workshop.robot_file, robot, {"drive": True})
    assert untried(workshop.robot_file, robot) == []
    monkeypatch.setattr(tried, "MACHINE_ID", tmp_path / "another")
    (tmp_path / "another").write_text("1234\n")
    assert untried(workshop.robot_file, robot) == ["drive"]


def test_what_cannot_be_read_is_one_line(workshop):
    workshop.put()
    path_beside(workshop.robot_file).write_text("{not json")
    with pytest.raises(TriedError, match="remove it, and try the parts again"):
        workshop.untried()


def test_outputs_that_move_are_tried_too(workshop):
    lift = {"driver": "my_own:Lift", "rest": "0 mm", "trial": "20 mm", "moves": "yes", "own_deadline": "250 ms"}
    workshop.put(outputs={"lift": lift | {"port": workshop.port}, "lamp": {"driver": "my_own:Lift", "rest": "0 %"}})
    assert list(moving_parts(load.load(workshop.robot_file, "robot").model)) == ["drive", "lift"]
    assert json.loads(json.dumps(workshop.untried())) == ["drive", "lift"]
