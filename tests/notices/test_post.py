"""The run's side: nothing waits for the outbox, and the end is told however it comes about.

The sender is a process of its own here, as in a run, and the mail server a real one.
"""

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import replace
from email.message import EmailMessage
from pathlib import Path

import pytest

from rover.events import SEEN, Delivery, Event, Find, StateChange, Stop, TrackPoint
from rover.files.errand import Errand
from rover.files.load import load
from rover.notices.outbox import Outbox, OutboxError, Waiting, path_beside
from rover.notices.post import Post
from rover.notices.sender import Sender
from rover.record.writer import RunRecord

from .conftest import PATIENCE_S, BadServer, Manners, full_disk

POINT = TrackPoint(1.0, 2.0, 0.0, 0.01, 0.01, 0.01, "pick_up/approach")
BEGINS = StateChange("", "seek", "", "")
FIND = Find(1, "amber", 1.234, -0.5, 1e-4, 0.0, 4e-4)
STOP = Stop("the stop input is open")
Serving = Callable[..., BadServer]


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine the process that sends takes its time to start."""
    monkeypatch.setattr("rover.notices.post.CLOSE_WITHIN_S", PATIENCE_S)


def until(done: Callable[[], object]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < end_s
        time.sleep(0.01)


def recorded(path: Path) -> Path:
    """The record of a run that found one object and delivered it."""
    record = RunRecord.create(path, {"title": "Bring the jars in"})
    for at_ns, event in ((1, BEGINS), (2, FIND), (3, Delivery(1, "amber", 0, 0.5, 0.5, 1.0, SEEN))):
        record.entry(at_ns * 1_000_000_000, event)
    record.finish("done", "all_in", {"expected": 2, "left": 1})
    return path


@contextmanager
def posting(errand: Path, record: Path, mark: str = "") -> Iterator[Post]:
    model: Errand = load(errand, "errand").model
    assert model.notices is not None
    post = Post(errand, model, model.notices, record, mark)
    try:
        yield post
    finally:
        post.close()
        if (process := post._sender._process) is not None:
            process.kill()  # it would go on until nothing waits
            process.wait()


def take(post: Post, *events: Event) -> None:
    for second, event in enumerate(events):
        post.take(event, float(second), POINT, 0)


def waiting(errand: Path, record: Path) -> list[Waiting]:
    with closing(Outbox(path_beside(record, errand))) as outbox:
        return outbox.waiting()


def by_subject(manners: Manners) -> dict[str, str]:
    """Return the texts of what arrived; each subject came once, under a Message-ID of its own."""
    assert len({message["Subject"] for message in manners.taken}) == len(set(manners.ids)) == len(manners.taken)
    return {message["Subject"]: _text(message) for message in manners.taken}


def _text(message: EmailMessage) -> str:
    body = message.get_body(("plain",))
    assert body is not None
    return "\n".join(body.get_content().splitlines())


def test_a_run_tells_of_each_find_of_a_stop_and_of_its_end(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners
) -> None:
    serving()
    with posting(errand, recorded(tmp_path / "run.sqlite")) as post:
        take(post, BEGINS, FIND, BEGINS, STOP)
        assert post.close() == "notices: all sent"
    texts = by_subject(manners)
    found = texts.pop("Bring the jars in: found amber, number 1")
    assert "stood at x = 1.234 m, y = -0.500 m." in found
    assert "semi-axes 49 mm and 24 mm, the longer one at 90 deg" in found  # 2.4477 sigma: 95 % of a plane's normal
    assert re.search(r"20\d\d-\d\d-\d\d \d\d:\d\d:\d\d\S+, 0:01\.0 into the run; 0 delivered so far", found)
    stopped = texts.pop("Bring the jars in: stopped")
    assert "Stopped: the stop input is open." in stopped
    assert "at about x = 1.000 m, y = 2.000 m, was at 'pick_up/approach'" in stopped
    ended = texts.pop("Bring the jars in: done, 1 of 2 delivered")
    assert "done: all_in. 1 of 2 delivered after 0:02.0 (seen 1, felt 0, believed 0, left 1)." in ended
    assert "no.  kind   x (m)   y (m)  95 % ellipse, semi-axes (mm)\n  1  amber  1.234  -0.500" in ended
    assert not texts


def test_nothing_is_told_of_a_run_that_never_began(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners
) -> None:
    serving()
    with posting(errand, tmp_path / "run.sqlite") as post:
        take(post, STOP, FIND)
        assert post.close() == ""
    assert not manners.taken
    assert not waiting(errand, tmp_path / "run.sqlite")


def test_a_rehearsals_notices_say_so(errand: Path, tmp_path: Path, serving: Serving, manners: Manners) -> None:
    serving()
    with posting(errand, recorded(tmp_path / "run.sqlite"), "Rehearsal: ") as post:
        take(post, BEGINS, STOP)
    assert set(by_subject(manners)) == {
        "Rehearsal: Bring the jars in: done, 1 of 2 delivered",
        "Rehearsal: Bring the jars in: stopped",
    }


def test_the_runs_thread_does_not_wait_for_an_outbox_that_is_held(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners
) -> None:
    """If `take` waited for it, this would not come to letting go of it."""
    serving()
    record = recorded(tmp_path / "run.sqlite")
    path = path_beside(record, errand)
    Outbox(path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as holder, posting(errand, record) as post:
        holder.execute("BEGIN IMMEDIATE")
        for number in range(2, 2000):
            take(post, BEGINS, STOP, replace(FIND, number=number))
        holder.execute("ROLLBACK")
        until(lambda: len(manners.taken) >= 20)


def test_a_full_disk_costs_no_notice(errand: Path, tmp_path: Path, serving: Serving, manners: Manners) -> None:
    serving()
    record = recorded(tmp_path / "run.sqlite")
    Outbox(path_beside(record, errand)).close()
    with posting(errand, record) as post:
        with full_disk():
            take(post, BEGINS, FIND)
            until(lambda: post._trouble)
        assert "the outbox of notices cannot be written" in post._trouble
        until(lambda: manners.taken)
    assert set(by_subject(manners)) == {
        "Bring the jars in: done, 1 of 2 delivered",
        "Bring the jars in: found amber, number 1",
    }


@pytest.mark.parametrize("when", ["before", "after"])
def test_an_outbox_that_is_none_costs_no_run(
    errand: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    monkeypatch.setattr("rover.notices.post.CLOSE_WITHIN_S", 0.5)
    record = recorded(tmp_path / "run.sqlite")
    path = path_beside(record, errand)
    junk = b"no database at all\n" * 1000
    if when == "before":
        path.write_bytes(junk)
    with posting(errand, record) as post:
        take(post, BEGINS, FIND)
        if when == "after":
            until(lambda: path.exists() and len(waiting(errand, record)) == 2)
            path.unlink()
            path.write_bytes(junk)
        said = post.close()
    assert "no outbox of notices, or a damaged one" in said
    assert "move it away" in said


def test_an_outbox_of_another_release_is_left_alone(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "x.sqlite")) as other:
        other.execute("PRAGMA user_version = 7")
    with pytest.raises(OutboxError, match=r"of another release \(layout 7\); move it away"):
        Outbox(tmp_path / "x.sqlite")


def test_where_no_process_can_be_started_the_run_goes_on(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners, monkeypatch: pytest.MonkeyPatch
) -> None:
    serving()
    starting = monkeypatch.context()
    with starting as patched:
        patched.setattr("rover.notices.process.sys.executable", "/no/such/python")
        post = posting(errand, recorded(tmp_path / "run.sqlite"))
        told = post.__enter__()
    take(told, BEGINS, FIND)
    assert told.close() == "notices: all sent"
    post.__exit__(None, None, None)
    assert len(manners.taken) == 2


def test_a_server_that_hangs_keeps_nobody(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("rover.notices.post.CLOSE_WITHIN_S", 0.5)
    manners.at = {"EHLO": ["hang"] * 100}
    serving()
    with posting(errand, recorded(tmp_path / "run.sqlite")) as post:
        take(post, BEGINS, FIND)
        said = post.close()
    assert said.startswith("notices: 2 not sent yet (not tried yet); they are tried again in the background, also by: ")


RUN = """
import sys, time
from pathlib import Path
from rover.events import Find, StateChange, TrackPoint
from rover.files.load import load
from rover.notices.post import Post
from rover.record.writer import RunRecord
errand, record = map(Path, sys.argv[1:])
model = load(errand, "errand").model
kept = RunRecord.create(record, {"title": model.errand})
post = Post(errand, model, model.notices, record)
for event in (StateChange("", "seek", "", ""), Find(1, "amber", 1.234, -0.5, 1e-4, 0.0, 4e-4)):
    kept.entry(0, event)
    post.take(event, 0.0, TrackPoint(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, ""), 0)
print(post._sender._process.pid, flush=True)
time.sleep(3600)
"""


@contextmanager
def run_apart(errand: Path, record: Path) -> Iterator[tuple[int, int]]:
    """A run in a process of its own that has found something; yields its number and its sender's, ends both."""
    arguments = [sys.executable, "-c", RUN, str(errand), str(record)]
    with subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        sender = int(run.stdout.readline())
        try:
            yield run.pid, sender
        finally:
            run.kill()
            with suppress(ProcessLookupError):
                os.kill(sender, signal.SIGKILL)


def test_a_run_that_is_killed_is_told_by_who_is_left(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners
) -> None:
    serving()
    with run_apart(errand, tmp_path / "run.sqlite") as (run, _):
        until(lambda: len(manners.taken) == 1)
        os.kill(run, signal.SIGKILL)
        until(lambda: len(manners.taken) == 2)
    ended = by_subject(manners)["Bring the jars in: cut off, 0 delivered"]
    assert "cut off: the run ended without a word: no power, or the runtime was killed." in ended


def test_all_arrives_after_run_sender_and_server_were_killed(
    errand: Path, tmp_path: Path, serving: Serving, manners: Manners
) -> None:
    """The server goes while it reads; run and sender are killed; a server comes back, and a later sender with it."""
    manners.at = {"DATA": ["hang"]}
    first = serving()
    with run_apart(errand, tmp_path / "run.sqlite") as (run, sender):
        until(lambda: not manners.at["DATA"])
        assert len(waiting(errand, tmp_path / "run.sqlite")) == 2
        os.kill(sender, signal.SIGKILL)
        os.kill(run, signal.SIGKILL)
        first.go()
    serving()
    with closing(Outbox(path_beside(tmp_path / "run.sqlite", errand))) as outbox:
        Sender(outbox, errand).send_due()
        assert not outbox.waiting()
    assert set(by_subject(manners)) == {
        "Bring the jars in: cut off, 0 delivered",
        "Bring the jars in: found amber, number 1",
    }
