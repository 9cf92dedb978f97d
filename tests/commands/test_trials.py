"""`rover trials` as a person calls it: rows in a file, Ctrl-C and again, own code that fails, bad options."""

import json
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from tests.trials.conftest import ShortErrand

COMMAND = [sys.executable, "-m", "rover", "trials"]


@pytest.fixture
def short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ShortErrand:
    return ShortErrand(tmp_path, monkeypatch)


def trials(short: ShortErrand, *words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run([*COMMAND, "short.yaml", *words], cwd=short.folder, capture_output=True, text=True)


def rows(short: ShortErrand, name: str = "c.sqlite") -> list[Any]:
    found = sqlite3.connect(short.folder / name)
    try:
        return found.execute("SELECT number, variant, row FROM trials ORDER BY number, variant").fetchall()
    except sqlite3.OperationalError:  # not made yet
        return []
    finally:
        found.close()


def refused(short: ShortErrand, *words: str) -> str:
    ended = trials(short, *words)
    assert ended.returncode == 2, ended.stderr
    assert "Traceback" not in ended.stderr
    return ended.stderr.splitlines()[0]


def test_the_rows_are_the_same_whatever_the_number_of_workers(short: ShortErrand) -> None:
    for jobs in ("1", "3"):
        assert trials(short, "--count", "7", "--jobs", jobs, "--into", f"{jobs}.sqlite").returncode == 0
    assert len(rows(short, "1.sqlite")) == 7
    assert rows(short, "1.sqlite") == rows(short, "3.sqlite")


def test_an_interrupted_campaign_keeps_what_is_done_and_goes_on(short: ShortErrand) -> None:
    words = ["short.yaml", "--count", "60", "--jobs", "2", "--into", "c.sqlite"]
    process = subprocess.Popen([*COMMAND, *words], cwd=short.folder, stdout=subprocess.PIPE, text=True)
    while len(rows(short)) < 5:
        assert process.poll() is None
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=60)
    assert process.returncode == 130
    kept = rows(short)
    assert 5 <= len(kept) < 60
    assert f"{len(kept)} of 60" in said
    assert trials(short, *words[1:]).returncode == 0
    assert len(rows(short)) == 60
    assert set(kept) <= set(rows(short))


def test_a_campaign_that_is_over_is_told_again_at_once(short: ShortErrand) -> None:
    words = ["--count", "3", "--into", "c.sqlite", "--json"]
    assert trials(short, *words).stdout == trials(short, *words).stdout


def test_an_error_in_own_code_is_told_with_its_seed_and_the_campaign_goes_on(short: ShortErrand) -> None:
    source = """
class Own(Activity):
    spec = ActivitySpec("fails for one seed")

    def __init__(self, known, values):
        self.is_bad = known.robot.body.track > 0.3

    def step(self, known):
        if self.is_bad:
            raise KeyError("of one's own")
        return Request()
"""
    short.own(source)
    ranges = {"ranges": "Two tracks", "draw": {"robot.body.track": {"one_of": ["24 cm", "31 cm"]}}}
    short.write("ranges", ranges)
    ended = trials(short, "--count", "4", "--drivers", "own", "--ranges", "ranges.yaml", "--into", "c.sqlite")
    assert "KeyError" in ended.stdout
    assert len(rows(short)) == 4
    assert ["KeyError" in json.loads(row)["error"] for _, _, row in rows(short)].count(True) == 2


def test_own_code_that_kills_the_process_costs_its_own_trial(short: ShortErrand) -> None:
    source = """
class Own(Activity):
    spec = ActivitySpec("kills the process")

    def __init__(self, known, values):
        os._exit(9)
"""
    short.own(source)
    ended = trials(short, "--count", "2", "--drivers", "own", "--jobs", "1", "--into", "c.sqlite")
    assert ended.returncode == 1
    assert [json.loads(row)["reason"] for _, _, row in rows(short)] == ["its process ended with exit code 9"] * 2


def test_what_own_code_prints_does_not_run_into_the_results(short: ShortErrand) -> None:
    short.own("""
class Own(Activity):
    spec = ActivitySpec("talks")

    def __init__(self, known, values):
        print("hello from my own code")

    def step(self, known):
        return Request()
""")
    ended = trials(short, "--count", "2", "--drivers", "own", "--json")
    assert json.loads(ended.stdout)
    assert "hello from my own code" in ended.stderr


def test_every_seed_is_tried_with_each_value(short: ShortErrand) -> None:
    assert trials(short, "--count", "2", "--vary", "stands=1 s,2 s", "--into", "c.sqlite").returncode == 0
    assert [variant for _, variant, _ in rows(short)] == ["stands=1 s", "stands=2 s"] * 2


def test_every_seed_is_tried_without_a_safeguard(short: ShortErrand) -> None:
    trials(short, "--count", "1", "--without", "fixes", "--without", "tries", "--into", "c.sqlite")
    assert [variant for _, variant, _ in rows(short)] == ["as it is", "without fixes", "without tries"]


def test_each_trial_twice_is_the_same(short: ShortErrand) -> None:
    assert trials(short, "--count", "2", "--twice").returncode == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--vary", "stands=1 s"], "--vary stands=1 s: write a key and two values or more"),
        (["--vary", "stands"], "write a key and two values or more"),
        (["--vary", "stnds=1 s,2 s"], "the behaviour has no setting 'stnds'; did you mean 'stands'?"),
        (["--vary", "stands=1 s,2 s", "--without", "fixes"], "one of them at a time"),
        (["--vary", "stands=1 s,1 s"], "the same value stands there twice"),
        (["--against", "other.yaml"], "there is no such file"),
        (["--against", "./short.yaml"], "this is the errand itself"),
        (["--ranges", "short.yaml"], "this is an errand file, but a ranges file is due here"),
        (["--given", "bench.flor.slip=3"], "unknown key; did you mean 'floor'?"),
        (["--cluster", "tcp://127.0.0.1:9"], "no scheduler answers there"),
        (["--count", "0"], "'0': a whole number, 1 or more is due here."),
    ],
)
def test_bad_options_are_refused_before_anything_is_tried(short: ShortErrand, words: list[str], said: str) -> None:
    assert said in refused(short, *words)
    assert not list(short.folder.glob("runs/*-1.sqlite"))
