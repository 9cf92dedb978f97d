"""A program of the person's own is given a notice; no shell has a part in it."""

import sys
from pathlib import Path

import pytest

from rover.notices.account import PASSWORD
from rover.notices.mail import message_of
from rover.notices.outbox import Notice
from rover.notices.program import run_program
from rover.notices.way import NotTakenError, UnreachableError

NOTICE = Notice(
    "<1@b.org>", "2026-05-04T03:02:01+02:00", "find", "command", "tell", "Ümlaut", "x = 1 m, 5 \u00b0\n", ""
)
MESSAGE = message_of(NOTICE, "a@b.org")
KEEP = "import os, sys; open(sys.argv[1], 'wb').write(sys.stdin.buffer.read()); "


def test_it_gets_the_notice_on_its_input_and_its_arguments_as_they_are(tmp_path: Path) -> None:
    kept = tmp_path / "$(touch oops); *"
    assert run_program([sys.executable, "-c", KEEP, str(kept)], MESSAGE) == f"{sys.executable} ended with 0"
    assert kept.read_text("utf-8") == (
        "Subject: Ümlaut\nDate: Mon, 04 May 2026 03:02:01 +0200\nMessage-ID: <1@b.org>\n\nx = 1 m, 5 \u00b0\n"
    )


def test_it_is_not_told_the_password(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PASSWORD, "hush")
    run_program([sys.executable, "-c", f"import os; assert {PASSWORD!r} not in os.environ"], MESSAGE)


@pytest.mark.parametrize(
    ("code", "says"),
    [("sys.exit('no line')", "ended with 1: no line"), ("os.kill(os.getpid(), 9)", "ended with -9")],
)
def test_one_that_fails_has_not_taken_it(tmp_path: Path, code: str, says: str) -> None:
    with pytest.raises(NotTakenError, match=says):
        run_program([sys.executable, "-c", KEEP + code, str(tmp_path / "kept")], MESSAGE)


def test_one_that_never_reads_nor_ends_is_ended_with_what_it_started() -> None:
    with pytest.raises(NotTakenError, match=r"did not end within 0\.5 s, and was ended"):
        run_program(["sh", "-c", "sleep 3600 & sleep 3600"], MESSAGE, 0.5)


def test_one_that_is_not_there_cannot_be_started() -> None:
    with pytest.raises(UnreachableError, match="/no/such: cannot be started: No such file or directory"):
        run_program(["/no/such"], MESSAGE)
