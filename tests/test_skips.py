"""What a run with skipped tests says, and when it fails: a run of its own under the suite's `conftest.py`."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

INSTALLABLE = "needs a compiler: apt install gcc"
ELSEWHERE = "needs a camera: a kernel with one"


def run(folder: Path, reasons: list[str], *options: str, ci: str) -> tuple[int, str]:
    shutil.copy(Path(__file__).with_name("conftest.py"), folder)
    tests = [f"@pytest.mark.skip(reason={reason!r})\ndef test_{n}(): ..." for n, reason in enumerate(reasons)]
    (folder / "test_it.py").write_text("\n".join(["import pytest", "def test_well(): ...", *tests]))
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *options, str(folder)]
    environment = {**os.environ, "CI": ci}
    ended = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, timeout=120)
    return ended.returncode, ended.stdout


@pytest.mark.parametrize("options", [("-n", "0"), ("-n", "1")])
def test_a_run_ends_with_what_was_skipped_and_what_would_bring_it(tmp_path, options):
    code, said = run(tmp_path, [INSTALLABLE, ELSEWHERE, INSTALLABLE], *options, ci="")
    assert code == 0
    assert f"  1 {ELSEWHERE}\n  2 {INSTALLABLE}\n" in said.split("skipped, and what would bring it")[1]


@pytest.mark.parametrize(
    ("reason", "ci", "code"),
    [
        (INSTALLABLE, "", 0),
        (INSTALLABLE, "true", 1),
        (ELSEWHERE, "true", 0),
        ("not today", "", 1),
    ],
)
def test_a_skip_fails_the_run_where_it_could_have_been_avoided_or_does_not_say_how(tmp_path, reason, ci, code):
    ended, said = run(tmp_path, [reason], "-n", "0", ci=ci)
    assert (ended, "FAILED: " in said) == (code, code == 1)


def test_a_run_without_skips_says_nothing_of_them(tmp_path):
    code, said = run(tmp_path, [], "-n", "0", ci="true")
    assert (code, "what would bring it" in said) == (0, False)
