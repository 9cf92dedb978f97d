"""The command line as a whole: commands by name, and what becomes of an exception or a signal."""

import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from rover.commands import main as cli
from rover.record.reader import read
from rover.record.run import RecordError

CONFIG = Path(__file__).parents[2] / "config"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
TIME_LIMIT_S = 30


@pytest.mark.parametrize("arguments", [(), ("--help",), ("rehearse", "--help"), ("--version",)])
def test_help_is_given(rover, arguments):
    code, out, err = rover(*arguments)
    assert code in (0, 2)
    assert "rover" in out + err


def test_an_unknown_command(rover):
    code, _, err = rover("rehearsal")
    assert code == 2
    assert "rehearsal" in err


def test_every_command_of_the_help_is_found_by_its_name():
    for name in cli.COMMANDS:
        assert isinstance(cli.commands.get_command(click.Context(cli.commands), name), click.Command)


def test_what_nobody_could_put_right_is_shown_as_a_bug_of_ours(rover, monkeypatch):
    """A ValueError that a step raises is no message to a person, but a traceback and a line that says so."""

    def broken(rehearsal):
        raise ValueError("math domain error")

    monkeypatch.setattr("rover.session.on_bench.Rehearsal.next_step", broken)
    code, out, err = rover("rehearse", CONFIG / "rectangle.yaml")
    assert (code, out) == (70, "")
    assert "Traceback" in err
    assert "ValueError: math domain error" in err
    assert err.splitlines()[-1].startswith("this is a bug in rover")


def endless(folder):
    """Write an errand that stands still for longer than any test; return its path."""
    (folder / "wait.yaml").write_text(
        "behaviour: Wait\nstart: wait\nstates:\n"
        "  wait: {does: stand_still, exits: [{after: 3 h, go: over}]}\n  over: {final: done}\n",
        encoding="utf-8",
    )
    for name in ("cart.yaml", "empty.yaml"):
        (folder / name).write_bytes((CONFIG / name).read_bytes())
    errand = folder / "errand.yaml"
    errand.write_text(
        "errand: Wait\nfiles: {robot: cart.yaml, behaviour: wait.yaml, bench: empty.yaml}\n"
        "field: {boundary: [[0 m, 0 m], [4 m, 0 m], [4 m, 3 m]], start: {x: 2 m, y: 1 m}}\n",
        encoding="utf-8",
    )
    return errand


def until_running(process, folder):
    """Return the record once the first samples of the run have been committed to it."""
    while process.poll() is None:
        for record in folder.glob("runs/*.sqlite"):
            if has_samples(record):
                return record
    raise AssertionError(process.communicate()[1])


def has_samples(record):
    try:
        return bool(read(record).track)
    except RecordError:
        return False


@pytest.mark.parametrize(
    ("number", "code", "message"),
    [(signal.SIGINT, 130, "interrupted"), (signal.SIGTERM, 143, "terminated"), (signal.SIGHUP, 129, "hung up")],
)
def test_a_signal_ends_the_run_and_leaves_a_whole_record(tmp_path, number, code, message):
    process = subprocess.Popen(
        [*COMMAND, "rehearse", str(endless(tmp_path)), "--json"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        record = until_running(process, tmp_path)
        process.send_signal(number)
        out, err = process.communicate(timeout=TIME_LIMIT_S)
    assert (process.returncode, out) == (code, "")
    assert message in err
    assert "Traceback" not in err
    assert read(record).outcome.result == "stopped"
