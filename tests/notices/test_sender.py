"""Notices by a real mail server that refuses, hangs, drops in mid-message, greylists, and is restarted."""

import os
import random
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from rover.files.notices import END, FIND
from rover.notices.mail import Patience
from rover.notices.outbox import Notice, Outbox
from rover.notices.owner import this_process
from rover.notices.sender import AtWorkError, Pauses, Sender, alone, serve

from .conftest import PATIENCE_S, BadServer, Manners, full_disk

SOON = Pauses(0.01, 0.05)
IMPATIENT = Patience(0.3, 2.0)
Serving = Callable[..., BadServer]


def notice(number: int, recipient: str = "c@d.org") -> Notice:
    made = "2026-05-04T03:02:01+00:00"
    subject, text = f"Found amber, number {number}", "It stood at x = 1.234 m.\n"
    return Notice(f"<{number}@b.org>", made, FIND, "mail", recipient, subject, text, "run.sqlite")


@pytest.fixture
def outbox(tmp_path: Path) -> Outbox:
    return Outbox(tmp_path / "jars.notices.sqlite")


def send_until(sender: Sender, done: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < end_s, sender.outbox.waiting()
        sender.send_due()
        time.sleep(0.005)


def send_all(sender: Sender) -> None:
    send_until(sender, lambda: not sender.outbox.waiting())


EVILS = {
    "refuses who greets it": {"EHLO": ["554 no"], "HELO": ["421 not now"]},
    "refuses the sender": {"MAIL": ["550 who are you?", "451 later"]},
    "greylists the recipient": {"RCPT": ["451 4.7.1 greylisted, try again later"] * 3},
    "hangs at the greeting": {"EHLO": ["hang"]},
    "hangs at the recipient": {"RCPT": ["hang", "hang"]},
    "will have no data": {"DATA": ["452 no room", "554 no"]},
    "drops in mid-message": {"DATA": ["drop", "drop", "drop"]},
    "refuses what it has read": {"taken": ["554 looks like spam", "451 cannot store it"]},
    "drops at every turn": {"EHLO": ["drop"], "MAIL": ["drop"], "RCPT": ["drop"], "DATA": ["drop"]},
}


@pytest.mark.parametrize("evil", EVILS)
def test_every_notice_arrives_and_none_twice(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners, evil: str
) -> None:
    manners.at = {command: list(answers) for command, answers in EVILS[evil].items()}
    serving()
    outbox.put([notice(number) for number in range(1, 6)])
    send_all(Sender(outbox, errand, SOON, IMPATIENT))
    assert not any(manners.at.values())
    assert sorted(manners.ids) == [f"<{number}@b.org>" for number in range(1, 6)]


def test_nobody_listens_and_then_somebody_does(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners
) -> None:
    outbox.put([notice(1), notice(2)])
    sender = Sender(outbox, errand, SOON, IMPATIENT)
    send_until(sender, lambda: max(one.tries for one in outbox.waiting()) >= 3)
    assert any("refused" in one.last for one in outbox.waiting())
    serving()
    send_all(sender)
    assert sorted(manners.ids) == ["<1@b.org>", "<2@b.org>"]


def test_both_sides_are_restarted(errand: Path, outbox: Outbox, serving: Serving, manners: Manners) -> None:
    manners.at = {"DATA": ["drop"], "RCPT": ["", "451 greylisted"]}
    first = serving()
    outbox.put([notice(number) for number in range(1, 5)])
    Sender(outbox, errand, SOON, IMPATIENT).send_due()
    first.go()
    outbox.close()
    with closing(Outbox(outbox.path)) as again:
        Sender(again, errand, SOON, IMPATIENT).send_due()  # nobody is there
        serving()
        send_all(Sender(again, errand, SOON, IMPATIENT))
    assert sorted(manners.ids) == [f"<{number}@b.org>" for number in range(1, 5)]


ILLS = {
    "EHLO": ["", "421 not now", "drop", "hang"],
    "MAIL": ["", "451 later", "550 who are you?", "drop"],
    "RCPT": ["", "451 greylisted", "450 busy", "drop", "hang"],
    "DATA": ["", "drop", "drop", "452 no room"],
    "taken": ["", "451 cannot store it", "554 looks like spam"],
}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_whatever_goes_wrong_in_whatever_order(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners, seed: int
) -> None:
    """Ills drawn for each command, the server restarted in between, a new sender each time: 40 ills, 12 notices."""
    draw = random.Random(seed)
    outbox.put([notice(number) for number in range(1, 13)])
    for _ in range(4):
        for command, answers in ILLS.items():
            manners.at[command] = draw.choices(answers, k=2)
        server = serving()
        sender = Sender(outbox, errand, SOON, IMPATIENT)
        for _ in range(3):
            sender.send_due()
            time.sleep(SOON.first_s)
        server.go()
        sender.send_due()
    manners.at.clear()
    serving()
    send_all(Sender(outbox, errand, SOON, IMPATIENT))
    assert sorted(manners.ids) == sorted(f"<{number}@b.org>" for number in range(1, 13))


def test_one_whose_taking_was_not_heard_comes_again_under_its_message_id(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners
) -> None:
    """At least once: who took it and could not say so has it twice, and can tell by the Message-ID (RFC 1047)."""
    manners.at = {"taken": ["deaf"]}
    serving()
    outbox.put([notice(1)])
    send_all(Sender(outbox, errand, SOON, IMPATIENT))
    assert manners.ids == ["<1@b.org>", "<1@b.org>"]


def test_one_that_is_always_refused_stops_no_other(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners
) -> None:
    manners.at = {"DATA": ["drop"] * 4}
    serving()
    outbox.put([notice(1)])
    sender = Sender(outbox, errand, SOON, IMPATIENT)
    send_until(sender, lambda: not manners.at["DATA"][2:])
    manners.at = {"DATA": ["", "", "drop"]}
    outbox.put([notice(2), notice(3)])
    send_until(sender, lambda: len(manners.taken) == 2)
    assert manners.ids == ["<2@b.org>", "<3@b.org>"]
    send_all(sender)


def test_an_errand_file_put_right_while_notices_wait_sends_them(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners
) -> None:
    serving()
    good = errand.read_text("utf-8")
    errand.write_text(good.replace("notices:", "notises:"), "utf-8")
    outbox.put([notice(1)])
    sender = Sender(outbox, errand, SOON, IMPATIENT)
    send_until(sender, lambda: bool(outbox.waiting()[0].last))
    assert "did you mean 'notices'" in outbox.waiting()[0].last
    errand.write_text(good, "utf-8")
    send_all(sender)
    assert manners.ids == ["<1@b.org>"]


def test_a_disk_that_is_full_when_it_is_taken_has_it_sent_once(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners
) -> None:
    serving()
    outbox.put([notice(1), notice(2)])
    sender = Sender(outbox, errand, SOON, IMPATIENT)
    with full_disk():
        for _ in range(3):
            sender.send_due()
            time.sleep(SOON.longest_s)
    assert len(outbox.waiting()) == 2
    send_all(sender)
    assert sorted(manners.ids) == ["<1@b.org>", "<2@b.org>"]


def test_one_process_at_a_time_sends(outbox: Outbox) -> None:
    with alone(outbox.path), pytest.raises(AtWorkError, match="another process is at work"), alone(outbox.path):
        pass
    with alone(outbox.path):
        pass


def test_pauses_grow_to_the_longest() -> None:
    pauses = Pauses(5.0, 900.0)
    assert [pauses.after(failures) for failures in (1, 2, 3, 8, 9, 1000)] == [5.0, 10.0, 20.0, 640.0, 900.0, 900.0]


def test_a_run_whose_pipe_has_ended_and_that_lives_on_is_waited_for(
    errand: Path, outbox: Outbox, serving: Serving, manners: Manners, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed processes close their files first and are gone a moment later; so that it can be seen, we live on."""
    monkeypatch.setattr("rover.notices.sender.LOOKS_EVERY_S", 0.05)
    serving()
    end = notice(1)._replace(occasion=END, subject="", text="", run=this_process())
    outbox.put([end])
    sender = Sender(outbox, errand, SOON, IMPATIENT)
    reading, writing = os.pipe()
    os.close(writing)
    with closing(Outbox(outbox.path)) as ours:
        at_work = threading.Thread(target=serve, args=(sender, reading))
        at_work.start()
        at_work.join(0.5)  # who takes the pipe's end for the run's is through by then
        assert not manners.taken
        ours.note_end_of(end.run)
        at_work.join(PATIENCE_S)
    os.close(reading)
    assert manners.ids == ["<1@b.org>"]
