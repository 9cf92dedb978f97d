"""A hundred things that cannot be used, over all commands: the exit code, one line that says what and where, no more.

A mistake in a file is a list, which ends with their number. What hardware refuses: `test_bad_input`.
"""

import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from rover.session.saved_state import VERSION

ROOT = Path(__file__).parents[2]
ROVER = [sys.executable, "-c", "from rover.commands.main import main; main()"]


def of_another_kind(path: Path) -> None:
    shutil.copy(ROOT / "config/mild.yaml", path)


FILES: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: None, "there is no such file"),
    "folder": (Path.mkdir, "this is a folder; name a YAML file"),
    "loop of links": (lambda path: path.symlink_to(path), "is a loop of links"),
    "link to nothing": (lambda path: path.symlink_to("x.yaml.gone"), "there is no such file"),
    "empty": (Path.touch, "the file is empty"),
    "binary": (lambda path: path.write_bytes(b"\xff\xfe\x00"), "not UTF-8 text; is it a binary file?"),
    "NUL": (lambda path: path.write_text("robot: \0"), "which no text file has"),
    "no YAML": (lambda path: path.write_text("{[}"), ":1:"),
    "deep": (lambda path: path.write_text("a: " + "[" * 100_000), ":1:"),
    "pipe": (os.mkfifo, "this is not a regular file"),
    "huge": (lambda path: path.write_bytes(b" " * 11_000_000), "larger than"),
    "other kind": (of_another_kind, "file is due here"),
}
COMMANDS = {
    "rehearse": ["rehearse"],
    "run": ["run", "--enable-motion"],
    "bring-up": ["bring-up", "--yes-to-all"],
    "calibrate": ["calibrate", "--write"],
    "emulate": ["emulate"],
    "stop": ["stop"],
    "reset": ["reset"],
    "check": ["check"],
}


@pytest.mark.parametrize("kind", FILES)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_file_that_is_none(rover, tmp_path, command, kind):
    if (command, kind) == ("check", "other kind"):
        pytest.skip("needs a kind of file that check does not take: another one")
    make, line = FILES[kind]
    make(tmp_path / "x.yaml")
    more = ["drive"] if command == "calibrate" else []
    code, out, said = rover(*COMMANDS[command], "x.yaml", *more)
    assert (code, out) == (2, "")
    assert one_line(said).startswith("x.yaml")
    assert line in said


def one_line(said: str) -> str:
    """Return the one line that was said; of a file's one mistake, which the number of mistakes follows."""
    lines = said.splitlines()
    if lines[-1] == "1 problem; nothing was run":
        lines.pop()
    (line,) = lines
    assert "Traceback" not in said
    return line


def made_by(sql: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        with sqlite3.connect(path) as connection:
            connection.executescript(sql)
        connection.close()

    return make


RECORDS: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: None, "there is no such file; give the path of a run record"),
    "folder": (Path.mkdir, "there is no such file; give the path of a run record"),
    "loop of links": (lambda path: path.symlink_to(path), "x.sqlite is a loop of links"),
    "empty": (Path.touch, "not a run record"),
    "text": (lambda path: path.write_text("robot: yes"), "not a run record, or a damaged one: file is not a database"),
    "pipe": (os.mkfifo, "there is no such file"),
    "another database": (made_by("CREATE TABLE a (b)"), "a SQLite file, but not a run record"),
    "no header": (made_by("CREATE TABLE header (key, value)"), "its header does not give the 'schema'"),
    "newer": (
        made_by("CREATE TABLE header (key, value); INSERT INTO header VALUES ('schema', '99')"),
        "written by a newer version",
    ),
    "odd version": (
        made_by("CREATE TABLE header (key, value); INSERT INTO header VALUES ('schema', 'x')"),
        "damaged: its layout is given as 'x'",
    ),
    "no tables": (
        made_by("CREATE TABLE header (key, value); INSERT INTO header VALUES ('schema', 1)"),
        "cannot be read",
    ),
}


@pytest.mark.parametrize("kind", RECORDS)
def test_a_record_that_is_none(rover, tmp_path, kind):
    make, line = RECORDS[kind]
    make(tmp_path / "x.sqlite")
    code, out, said = rover("report", "x.sqlite")
    assert (code, out) == (2, "")
    assert line in one_line(said)


STATES: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing": (lambda path: None, "No such file"),
    "folder": (Path.mkdir, "not a file"),
    "loop of links": (lambda path: path.symlink_to(path), "is a loop of links"),
    "empty": (Path.touch, "not the saved state of a run"),
    "a number": (lambda path: path.write_text("3"), "not the saved state of a run"),
    "a list": (lambda path: path.write_text("[1]"), "not the saved state of a run"),
    "brackets": (lambda path: path.write_text("[" * 100_000), "not the saved state of a run"),
    "NaN": (lambda path: path.write_text(state("[NaN, 0, 0]")), "not a state that can be taken up: pose[0]"),
    "1e300": (lambda path: path.write_text(state("[1e300, 0, 0]")), "not a state that can be taken up: pose[0]"),
    "words": (lambda path: path.write_text(state('"here"')), "not a state that can be taken up: pose"),
}


def state(pose: str) -> str:
    errand = (ROOT / "config/stand.yaml").read_text().split("errand:", 1)[1].splitlines()[0].strip()
    saved = {"version": VERSION, "errand": errand, "ended": "", "core": {"pose": "POSE"}}
    return json.dumps(saved).replace('"POSE"', pose)


@pytest.mark.parametrize("kind", STATES)
def test_a_state_that_cannot_be_resumed(rover, tmp_path, kind):
    make, line = STATES[kind]
    make(tmp_path / "x.json")
    code, out, said = rover("run", ROOT / "config/stand.yaml", "--resume=x.json")
    assert (code, out) == (2, "")
    assert line in one_line("\n".join(row for row in said.splitlines() if "warning" not in row))


GREENHOUSE, CART = str(ROOT / "config/greenhouse.yaml"), str(ROOT / "config/cart.yaml")
LINES: dict[str, tuple[str, str]] = {
    "no command": ("nosuch", "rover: there is no command 'nosuch'. See rover --help"),
    "misspelt command": ("rehears", "rover: there is no command 'rehears'; did you mean 'rehearse'? See rover --help"),
    "no option": ("check --nosuch", "rover check: No such option"),
    "no argument": ("rehearse", "rover rehearse: Missing argument 'ERRAND'."),
    "no choice": (f"calibrate {CART} wings", "rover calibrate: Invalid value for"),
    "missing choice": (f"calibrate {CART}", "rover calibrate: Missing argument"),
    "one too many": ("check a b", "rover check: Got unexpected extra argument"),
    "seed": (f"rehearse {GREENHOUSE} --seed -3", "rover rehearse: Invalid value for '--seed'"),
    "set without value": (f"rehearse {GREENHOUSE} --set near", "--set near: write a setting and its value"),
    "set of nothing": (f"rehearse {GREENHOUSE} --set nosuch=1", "nosuch"),
    "set to nonsense": (f"rehearse {GREENHOUSE} --set near=[", "--set near"),
    "set without a unit": (f"rehearse {GREENHOUSE} --set near=20", "near"),
    "no such link": (
        f"bring-up {CART} --yes-to-all --port aft=/dev/null",
        "--port aft: the robot file has no such link",
    ),
    "seed in words": (f"rehearse {GREENHOUSE} --seed abc", "'abc': a whole number, 0 or more is due here."),
    "seed below zero": (f"rehearse {GREENHOUSE} --seed -1", "'-1': a whole number, 0 or more is due here."),
    "setting that is none": (
        f"rehearse {GREENHOUSE} --set neer=1",
        "--set: 'neer': the behaviour has no setting 'neer'",
    ),
    "practice that writes": (
        f"calibrate {CART} drive --bench {ROOT}/config/mild.yaml --write",
        "--write goes with the robot itself",
    ),
    "port without path": (f"bring-up {CART} --port aft", "--port aft: write a link"),
    "drivers missing": (f"rehearse {GREENHOUSE} --drivers nosuch", "rover rehearse: Invalid value for '--drivers'"),
    "drivers a loop": (f"rehearse {GREENHOUSE} --drivers loop", "loop is a loop of links"),
    "guard a file": (f"run {GREENHOUSE} --guard file", "rover run: Invalid value for '--guard'"),
    "guard a loop": ("stop --guard loop", "loop is a loop of links"),
    "side without unit": (f"calibrate {CART} drive --side 1 --bench {ROOT}/config/mild.yaml", "1"),
    "check by no one": (f"bring-up {CART} --only nosuch", "rover bring-up: Invalid value for '--only'"),
    "jog without a terminal": (f"jog {CART}", "rover jog drives by keys that are held down"),
    "look at nothing": ("look nosuch.png", "there is no nosuch.png"),
    "look at a loop": ("look loop", "loop is a loop of links"),
    "look by a missing robot": ("look file --robot nosuch.yaml", "nosuch.yaml:1:1: there is no such file"),
    "pictures missing": (
        f"calibrate {CART} camera --pictures nosuch",
        "rover calibrate: Invalid value for '--pictures'",
    ),
    "bench missing": (f"calibrate {CART} drive --bench nosuch.yaml", "nosuch.yaml:1:1: there is no such file"),
}


@pytest.mark.parametrize("kind", LINES)
def test_a_command_line_that_means_nothing(rover, tmp_path, kind):
    line, expected = LINES[kind]
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "file").write_text("")
    code, out, said = rover(*line.split())
    assert (code, out) == (2, "")
    rows = [row for row in said.splitlines() if row not in ("nothing was written",)]
    assert expected in one_line("\n".join(rows))


DRIVERS = {
    "raises": (
        "def __init__(self, options, context): raise KeyError('pin')",
        "cannot be made: it raised KeyError: 'pin'",
    ),
    "exits": ("def __init__(self, options, context): raise SystemExit(0)", "cannot be made: it raised SystemExit"),
    "takes nothing": ("def __init__(self): pass", "cannot be made: it raised TypeError"),
    "has nothing": ("def __init__(self, options, context): pass", "has no poll() and no close()"),
}


@pytest.mark.parametrize("kind", DRIVERS)
def test_a_driver_that_is_none(tmp_path, kind):
    body, line = DRIVERS[kind]
    code, said = rehearsed_with(tmp_path, f"class Range:\n    {body}\n", "mine:Range")
    assert code == 2
    assert line in one_line(said)


MODULES = {
    "no such class": ("class Rang: pass", "mine:Range", "has no class 'Range'; did you mean 'Rang'"),
    "not a class": ("Range = 3", "mine:Range", "has no class 'Range'"),
    "raises": ("raise RuntimeError('no\\nluck')", "mine:Range", "cannot import 'mine' (RuntimeError: no luck)"),
    "exits": ("raise SystemExit(0)", "mine:Range", "cannot import 'mine' (SystemExit: 0)"),
    "no syntax": ("class", "mine:Range", "cannot import 'mine' (SyntaxError: invalid syntax"),
    "missing": ("", "yours:Range", "cannot import 'yours' (ModuleNotFoundError"),
    "no name": ("", "mine:not a name", "is not of the form package.module:Class"),
}


@pytest.mark.parametrize("kind", MODULES)
def test_a_module_without_the_driver(tmp_path, kind):
    source, name, line = MODULES[kind]
    code, said = rehearsed_with(tmp_path, source, name)
    assert code == 2
    assert line in one_line(said)


def rehearsed_with(folder: Path, source: str, driver: str) -> tuple[int, str]:
    """Rehearse with a range finder of one's own, in a process of its own; return exit code and what was said."""
    shutil.copytree(ROOT / "config", folder / "config")
    shutil.copytree(ROOT / "behaviours", folder / "behaviours")
    (folder / "mine.py").write_text(source)
    cart = folder / "config/cart.yaml"
    written, times = re.subn(r"(?m)^(  range: \{?)driver: \w+", rf'\1driver: "{driver}"', cart.read_text())
    if not times:
        written, times = re.subn(r"(?m)^(  range:\n    )driver: \w+", rf'\1driver: "{driver}"', cart.read_text())
    assert times == 1
    cart.write_text(written)
    ended = subprocess.run(
        [*ROVER, "rehearse", "config/greenhouse.yaml", "--drivers", "."],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert ended.stdout == ""
    said = [line for line in ended.stderr.splitlines() if not line.startswith("loading ") and "warning" not in line]
    return ended.returncode, "\n".join(said)


WRITES = {
    "help": "--help",
    "check": f"check {GREENHOUSE}",
    "check this computer": "check",
    "rehearse": f"rehearse {ROOT}/config/rectangle.yaml --json",
    "calibrate": f"calibrate {CART} heading --bench {ROOT}/config/mild.yaml",
    "emulate": f"emulate {CART}",
    "report": "report x.sqlite",
}


@pytest.mark.parametrize(("kind", "unbuffered"), [*((kind, "") for kind in WRITES), ("check", "1")])
@pytest.mark.parametrize("to", ["full", "closed"])
def test_output_that_nothing_takes(tmp_path, to, kind, unbuffered):
    if kind == "report":
        made = subprocess.run([*ROVER, "rehearse", f"{ROOT}/config/rectangle.yaml"], cwd=tmp_path, capture_output=True)
        assert made.returncode == 0
        next((tmp_path / "runs").glob("*.sqlite")).rename(tmp_path / "x.sqlite")
    if to == "full":
        taker = os.open("/dev/full", os.O_WRONLY)
    else:
        reader, taker = os.pipe()
        os.close(reader)
    try:
        ended = subprocess.run(
            [*ROVER, *WRITES[kind].split()],
            cwd=tmp_path,
            stdin=subprocess.DEVNULL,
            stdout=taker,
            stderr=subprocess.PIPE,
            text=True,
            timeout=120,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
        )
    finally:
        os.close(taker)
    assert ended.returncode == 1
    said = [line for line in ended.stderr.splitlines() if "warning" not in line]
    assert said == (["standard output cannot be written: No space left on device"] if to == "full" else [])


@pytest.mark.parametrize("to", [">&-", "2>&-", "2>/dev/full", ">&- 2>&-"])
def test_streams_that_are_not_there_change_no_exit_code(tmp_path, to):
    for file, code in ((GREENHOUSE, 0), ("nosuch.yaml", 2)):
        command = " ".join(f"'{word}'" for word in (*ROVER, "check", file))
        ended = subprocess.run(f"{command} {to}", shell=True, cwd=tmp_path, capture_output=True, timeout=60)
        assert ended.returncode == code
        assert b"Traceback" not in ended.stderr
