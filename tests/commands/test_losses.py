"""`rover losses`: real rehearsals in processes of their own."""

import json
import os
import pty
import shlex
import signal
import subprocess
import sys
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"
RECTANGLE = CONFIG / "rectangle.yaml"
SHORT = ("--given", "long_side=30 cm", "--given", "bench.camera.missed=6 %", "--seed", "3", "--jobs", "1")


def test_each_cell_says_the_command_that_shows_it(rover, tmp_path):
    code, out, _ = rover("losses", RECTANGLE, *SHORT, "--state", "home", "--device", "range", "--json")
    found = json.loads(out)
    assert code == (1 if found["wrong"] else 0)
    assert [cell["line"] for cell in found["cells"]] == [
        f"on entering home: range {words}{lasts}"
        for words in ("silent", "stuck", "biased by 30 cm")
        for lasts in (" for 3 s", "")
    ]
    assert (tmp_path / found["page"]).read_text("utf-8").startswith("<!DOCTYPE html>")
    cell = found["cells"][1]
    words = shlex.split(cell["command"])
    assert words[:3] == ["rover", "rehearse", str(RECTANGLE)]
    code, out, _ = rover(*words[1:], "--json")
    shown = json.loads(out)
    assert (shown["result"], shown["reason"]) == (cell["result"], cell["reason"])
    assert shown["robot_time_s"] == pytest.approx(cell["lost_at_s"] + cell["after_s"], abs=0.03)


def test_a_person_can_read_it_and_wrong_is_code_1(rover):
    code, out, _ = rover("losses", RECTANGLE, "--state", "side/across", "--device", "drive", "--jobs", "2")
    assert code == 1
    assert "lost on entering side/across, at " in out
    assert "WRONG moved" in out
    assert out.splitlines()[-1].startswith("page: runs/rectangle-losses-seed1-")


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (("--device", "sonar"), "there is no device 'sonar' here"),
        (("--state", "hom"), "did you mean 'home'"),
        (("--fault", "at 1 s: heading silnt"), "silnt"),
        (("--given", "bench.flor.slip=3 %"), "flor"),
    ],
)
def test_what_is_not_there_is_said_before_anything_is_rehearsed(rover, more, message):
    code, out, err = rover("losses", RECTANGLE, *more)
    assert (code, out) == (2, "")
    assert message in err
    assert "Traceback" not in err


def test_an_interrupt_keeps_and_shows_what_is_done(tmp_path):
    reader, writer = pty.openpty()
    command = [sys.executable, "-m", "rover", "losses", str(RECTANGLE), "--jobs", "1", "--json"]
    running = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, stderr=writer, text=True)
    os.close(writer)
    said = b""
    while b"2 of 230" not in said:
        said += os.read(reader, 1000)
    running.send_signal(signal.SIGINT)
    out, _ = running.communicate(timeout=60)
    os.close(reader)
    found = json.loads(out)
    assert running.returncode == 130
    assert 2 <= len(found["cells"]) < found["planned"] == 230
    assert b" left" in said
