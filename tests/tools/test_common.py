"""What the scripts share: an installation that fails says why, wherever in pip's words that stands."""

import subprocess
from pathlib import Path

COMMON = Path(__file__).parents[2] / "tools" / "common.sh"
CAUSE = "ERROR: Could not find a version that satisfies the requirement numpy==99 (from versions: none)"


def test_the_cause_is_shown_though_many_lines_follow_it(tmp_path):
    pip = tmp_path / ".venv" / "bin" / "python"
    pip.parent.mkdir(parents=True)
    pip.write_text(f"#!/bin/sh\necho '{CAUSE}' >&2\nfor line in $(seq 40); do echo note $line; done\nexit 1\n")
    pip.chmod(0o755)
    for name in ("pyproject.toml", "constraints.txt"):
        (tmp_path / name).touch()

    answer = subprocess.run(
        ["sh", "-c", f". {COMMON}; install ''"], cwd=tmp_path, capture_output=True, text=True, timeout=60
    )

    assert answer.returncode == 2
    lines = answer.stderr.splitlines()
    assert lines[0] == CAUSE
    assert ".venv/install.log" in lines[-1]
    assert (tmp_path / ".venv" / "install.log").read_text().count("note") == 40
