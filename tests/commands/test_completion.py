"""`rover completion` has the shell complete what may be typed; bash itself is asked."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def completed(script: Path, home: Path, *words: str) -> list[str]:
    """Return what bash proposes for the last word."""
    (home / "bin").mkdir(exist_ok=True)
    program = home / "bin/rover"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m rover "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    quoted = " ".join(f"'{word}'" for word in words)
    asked = f"source {script}; COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}; _rover_completion rover"
    said = subprocess.run(
        ["bash", "--norc", "-c", f'{asked}; printf "%s\\n" "${{COMPREPLY[@]}}"'],
        env=os.environ | {"PATH": f"{home / 'bin'}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    return said.stdout.split()


@pytest.fixture
def home(tmp_path, monkeypatch):
    for variable in ("XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash: apt install bash")
def test_bash_completes_commands_and_options(rover, home, monkeypatch):
    monkeypatch.setenv("SHELL", "/bin/bash")
    code, output, _ = rover("completion")
    script = home / ".local/share/bash-completion/completions/rover"
    assert (code, output) == (0, f"written: {script}\na new shell has it\n")
    assert completed(script, home, "rover", "reh") == ["rehearse"]
    assert completed(script, home, "rover", "rehearse", "--se") == ["--seed", "--set"]


@pytest.mark.parametrize(
    ("shell", "file"),
    [("zsh", ".local/share/zsh/site-functions/_rover"), ("fish", ".config/fish/completions/rover.fish")],
)
def test_other_shells_have_theirs(shell, file, rover, home):
    assert rover("completion", shell)[0] == 0
    assert "_ROVER_COMPLETE" in (home / file).read_text("utf-8")
    assert rover("completion", shell)[0] == 0  # again, after an update


def test_what_somebody_else_wrote_there_is_left_alone(rover, home):
    file = home / ".config/fish/completions/rover.fish"
    file.parent.mkdir(parents=True)
    file.write_text("mine", encoding="utf-8")
    code, _, said = rover("completion", "fish")
    assert (code, "this is not of rover, and is left alone" in said) == (2, True)
    assert file.read_text("utf-8") == "mine"


def test_an_unknown_shell_is_asked_for(rover, home, monkeypatch):
    monkeypatch.setenv("SHELL", "/bin/odd")
    assert rover("completion")[2] == "which shell is yours? Name it: rover completion bash|zsh|fish\n"
