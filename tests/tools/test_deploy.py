"""The files that make a service of the runtime, held against the programs that will read them."""

import configparser
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from rover.guard.settings import CHANNELS_NAME

DEPLOY = Path(__file__).parents[2] / "tools" / "deploy"
UNIT, RULES, SETUP = DEPLOY / "rover.service", DEPLOY / "70-rover.rules", DEPLOY / "setup.sh"
PROJECT = DEPLOY.parents[1] / "pyproject.toml"
NOBODY = 65534
# Keys of version 254; older ones ignore them and say so.
YOUNG_KEYS = re.compile(r"Unknown key.* '(RestartSteps|RestartMaxDelaySec)'")


def _run(*command, **options):
    return subprocess.run(command, capture_output=True, text=True, timeout=60, **options)


def _unit():
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str
    unit.read(UNIT)
    return unit


def _command():
    return shlex.split(_unit()["Service"]["ExecStart"])


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="needs systemd-analyze: apt install systemd")
def test_the_unit_is_sound(tmp_path):
    copy = tmp_path / UNIT.name
    # The program is not installed where the unit expects it; any other stands in.
    copy.write_text(UNIT.read_text().replace(_command()[0], sys.executable))

    answer = _run("systemd-analyze", "verify", copy)

    complaints = [line for line in answer.stderr.splitlines() if UNIT.name in line and not YOUNG_KEYS.search(line)]
    assert (answer.returncode, complaints) == (0, [])


def test_the_service_is_watched_restarted_and_no_root():
    service = _unit()["Service"]

    assert service["Type"] == "notify"
    assert service["User"] == "rover"
    assert service["Restart"] == "on-failure"
    assert "WatchdogSec" in service
    assert "RuntimeDirectory" in service


def test_the_guard_outlives_its_runtime():
    service = _unit()["Service"]

    assert service["KillMode"] == "process"
    assert service["RuntimeDirectoryPreserve"] == "yes", "or the next runtime would not find the guard that is there"


def test_what_is_left_when_all_are_killed_writes_zero_to_every_channel(tmp_path):
    """The command as systemd would give it to the shell; one channel is not there any more."""
    command = [word.replace("$$", "$") for word in shlex.split(_unit()["Service"]["ExecStopPost"].removeprefix("-"))]
    duties = [tmp_path / name for name in ("left", "gone", "right")]
    for duty in (duties[0], duties[2]):
        duty.write_text("25000\n")
    (tmp_path / "guard").mkdir()
    (tmp_path / "guard" / CHANNELS_NAME).write_text("".join(f"{duty}\n" for duty in duties))

    answer = _run(*command, env={"RUNTIME_DIRECTORY": str(tmp_path)})

    assert (answer.returncode, answer.stderr) == (0, "")
    assert [duties[0].read_text(), duties[1].exists(), duties[2].read_text()] == ["0\n", False, "0\n"]


def test_without_a_guard_before_there_is_nothing_to_write(tmp_path):
    command = [word.replace("$$", "$") for word in shlex.split(_unit()["Service"]["ExecStopPost"].removeprefix("-"))]

    assert _run(*command, env={"RUNTIME_DIRECTORY": str(tmp_path)}).returncode == 0


def test_the_service_starts_standing_still():
    assert _command()[1] == "run"
    assert "--enable-motion" not in _command()


def test_the_command_takes_the_options_that_the_unit_gives():
    answer = _run(sys.executable, "-m", "rover", "run", "--help")

    assert answer.returncode == 0
    for option in (word for word in _command() if word.startswith("--")):
        assert option in answer.stdout
    assert "ERRAND" in answer.stdout


def _verifies_rules():
    if shutil.which("udevadm") is None:
        return False
    return "verify" in _run("udevadm", "--help").stdout


@pytest.mark.skipif(not _verifies_rules(), reason="needs 'udevadm verify': a system with systemd 254 or later and udev")
def test_the_device_rules_are_sound():
    answer = _run("udevadm", "verify", "--no-style", RULES)

    # Groups that only setup.sh makes may be unknown here.
    complaints = [line for line in answer.stderr.splitlines() if "Unknown group" not in line]
    assert [line for line in complaints if RULES.name in line] == []


def test_each_rule_is_a_list_of_keys_operators_and_quoted_values():
    """A coarse reading of the grammar in udev(7), for machines whose udevadm does not verify."""
    term = r'[A-Z_]+(\{[^}"]+\})?(==|!=|=|\+=|:=)"[^"]*"'
    rules = [line for line in RULES.read_text().splitlines() if line and not line.startswith("#")]

    assert len(rules) == 6
    for rule in rules:
        assert re.fullmatch(rf"{term}(, {term})*", rule), rule


def test_every_group_of_the_rules_and_the_unit_is_made_by_the_setup():
    named = set(re.findall(r'GROUP="(\w+)"', RULES.read_text())) | set(re.findall(r"chgrp -R (\w+)", RULES.read_text()))
    service = _unit()["Service"]

    made = re.search(r"^for group in (.*); do$", SETUP.read_text(), re.MULTILINE)[1].split()

    assert named | {service["Group"], *service["SupplementaryGroups"].split()} <= set(made)


def test_the_setup_is_sound_shell():
    answer = _run("sh", "-n", SETUP)

    assert (answer.returncode, answer.stderr) == (0, "")


def test_a_dry_run_only_says_what_it_would_do():
    before = Path("/etc/rover").exists(), Path("/opt/rover").exists()

    first, second = (_run(SETUP, "--dry-run") for _ in range(2))

    assert (first.returncode, first.stderr) == (0, "")
    assert first.stdout == second.stdout
    assert all(
        line.startswith(("would run: ", "there already: ", "next: ", "      ")) for line in first.stdout.splitlines()
    )
    assert "would run: systemctl enable rover.service" in first.stdout
    assert (Path("/etc/rover").exists(), Path("/opt/rover").exists()) == before


def test_the_setup_installs_what_is_pinned_from_a_copy_of_the_checkout():
    """Built in the checkout by root, it would leave files there that its owner cannot remove."""
    said = _run(SETUP, "--dry-run").stdout
    pip = next(line for line in said.splitlines() if "-m pip install" in line)

    assert f"-c {DEPLOY.parents[1]}/constraints.txt" in pip
    assert f"{DEPLOY.parents[1]}[" not in pip
    extras = set(re.search(r"\[(.*)\]$", pip)[1].split(","))
    assert extras <= set(tomllib.loads(PROJECT.read_text())["project"]["optional-dependencies"])
    assert "/var/lib/rover/runs" in said


def test_without_root_the_setup_says_so_in_one_line(tmp_path):
    user = NOBODY if os.geteuid() == 0 else None
    # Read from standard input, since a checkout may be closed to others.
    answer = _run("sh", "-s", input=SETUP.read_text(), user=user, cwd="/")

    assert answer.returncode == 2
    assert answer.stdout == ""
    assert re.fullmatch(r"setup.sh: this needs root: run 'sudo [^\n]*\n", answer.stderr)


def test_the_setup_refuses_an_option_it_does_not_know():
    answer = _run(SETUP, "--force")

    assert (answer.returncode, answer.stdout) == (2, "")
    assert answer.stderr == "setup.sh: unknown option '--force'; the only one is --dry-run\n"
