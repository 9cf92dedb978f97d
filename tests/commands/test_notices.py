"""`rover notices`, and what the other commands say of notices."""

import email
import socket
import subprocess
import sys
import time
from contextlib import closing
from email.policy import default
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from rover.notices.outbox import Notice, Outbox
from rover.notices.sender import alone

CONFIG = Path(__file__).parents[2] / "config"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]


class Taker:
    """A mail server's handler that takes all, and keeps it."""

    def __init__(self):
        self.taken = []

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        self.taken.append(envelope.content.decode())
        return "250 queued as 4711"


@pytest.fixture
def taker():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = Controller(Taker(), hostname="127.0.0.1", port=port)
    server.start()
    server.handler.port = port
    yield server.handler
    server.stop()


@pytest.fixture
def errand(project, monkeypatch):
    """The rectangle's errand, with lines under `notices:`."""
    monkeypatch.setenv("ROVER_PERSON", str(project / "person.yaml"))
    monkeypatch.delenv("ROVER_MAIL_PASSWORD", raising=False)

    def write(notices):
        path = project / "config/rectangle.yaml"
        path.write_text(f"{path.read_text()}\nnotices:\n  {notices}\n")
        return path

    return write


def by_mail(port, security="none", more=""):
    of = f"server: localhost, port: {port}, security: {security}{more}"
    return f"mail: {{{of}, sender: a@b.org, to: [c@d.org, e@f.org]}}"


def test_a_notice_on_trial_is_sent_now_and_what_came_back_is_said(rover, errand, taker):
    code, out, _ = rover("notices", errand(by_mail(taker.port)), "--test")
    assert (code, out) == (0, "mail to c@d.org: 250 queued as 4711\nmail to e@f.org: 250 queued as 4711\n")
    assert all("a notice on trial" in text for text in taker.taken)


def test_one_that_nobody_takes_says_why(rover, errand, taker):
    code, out, _ = rover("notices", errand(by_mail(taker.port, "starttls")), "--test")
    assert code == 1
    assert out.startswith(f"mail to c@d.org: NOT SENT: localhost:{taker.port}: STARTTLS extension not supported")


def test_without_a_password_it_says_where_to_put_it(rover, errand, project):
    path = errand(by_mail(25, more=", user: me"))
    code, out, _ = rover("notices", path, "--test")
    assert code == 1
    assert f"set ROVER_MAIL_PASSWORD, or write it under 'passwords:' in {project}/person.yaml" in out
    _, out, _ = rover("check", path)
    assert "notices on find, stop and end by mail to c@d.org, e@f.org; a rehearsal sends none" in out
    assert "  on this computer: no password for me at localhost: set ROVER_MAIL_PASSWORD" in out


def test_a_person_file_that_others_may_read_is_refused_with_what_to_type(rover, errand, project):
    person = project / "person.yaml"
    person.write_text("person: Me\npasswords: {localhost: hush-4711}\ncommands: {tell: [/bin/true]}\n")
    person.chmod(0o644)
    code, out, err = rover("notices", errand("command: tell"), "--test")
    assert (code, err) == (1, "")
    assert f"NOT SENT: {person}: others on this computer may read it; type: chmod 600 {person}" in out
    person.chmod(0o600)
    assert rover("notices", project / "config/rectangle.yaml", "--test")[:2] == (
        0,
        "command 'tell': /bin/true ended with 0\n",
    )


def test_check_shows_no_secret_of_a_person_file(rover, project):
    person = project / "person.yaml"
    person.write_text("person: Me\npasswords: {localhost: [hush-4711]}\n")
    code, out, err = rover("check", person)
    assert code == 2
    assert "person.yaml:2:24: a text is due here; put it in quotes" in err
    assert "hush" not in out + err


def test_an_errand_without_notices_says_so(rover):
    code, _, err = rover("notices", CONFIG / "rectangle.yaml")
    assert code == 2
    assert "has no 'notices:', so that nobody is told anything" in err


def test_a_rehearsal_sends_none_and_says_so(rover, errand, taker):
    _, _, err = rover("rehearse", errand(by_mail(taker.port)))
    assert "a rehearsal sends no notices; --notices has it send them, each marked as a rehearsal's" in err
    assert not taker.taken
    assert not list(Path("runs").glob("*.notices.sqlite"))


def test_with_notices_it_sends_them_marked(rover, errand, taker):
    path = errand(by_mail(taker.port))
    said = subprocess.run([*COMMAND, "rehearse", path, "--notices"], capture_output=True, text=True, check=True)
    assert "\nnotices: " in said.stderr
    end_s = time.monotonic() + 60.0
    with closing(Outbox(Path("runs/rectangle.notices.sqlite"))) as outbox:
        while outbox.waiting():  # on a busy machine the process that sends is at it after the rehearsal
            assert time.monotonic() < end_s
            time.sleep(0.05)
    assert len(taker.taken) == 2
    assert all("Subject: Rehearsal: " in text for text in taker.taken)
    message = email.message_from_string(taker.taken[0], policy=default)
    kinds = [part.get_content_type() for part in message.walk() if not part.is_multipart()]
    assert kinds == ["text/plain", "text/html", "image/png"]
    page, plan = [part.get_content() for part in message.walk() if not part.is_multipart()][1:]
    assert "Nothing was found." in page
    assert 'src="cid:plan@rover"' in page
    assert plan.startswith(b"\x89PNG")
    assert rover("notices", path)[:2] == (0, "0 sent, 0 wait in runs/rectangle.notices.sqlite\n")


def test_nothing_waits_where_nothing_was_run(rover, errand):
    assert rover("notices", errand("command: tell"))[:2] == (
        0,
        "nothing waits: there is no runs/rectangle.notices.sqlite\n",
    )


def end(process):
    process._process.kill()
    process._process.wait()


def test_what_waits_is_listed_with_why(rover, errand, project, monkeypatch):
    """The sender of the rehearsal is ended at once, as by a reboot."""
    monkeypatch.setattr("rover.notices.post.CLOSE_WITHIN_S", 0.2)
    monkeypatch.setattr("rover.notices.process.SenderProcess.nudge", end)
    path = errand("command: tell")
    _, _, err = rover("rehearse", path, "--notices")
    assert (
        f"notices will wait: no command 'tell' on this computer: write it under 'commands:' in {project}/person.yaml"
        in err
    )
    code, out, _ = rover("notices", path)
    assert code == 1
    assert "command 'tell'  Rehearsal: " in out
    assert "1 tries; no command 'tell' on this computer" in out
    assert out.endswith("0 sent, 1 wait in runs/rectangle.notices.sqlite\n")


def test_what_waits_is_listed_while_another_process_sends(rover, errand, project):
    Path("runs").mkdir()
    made = "2026-05-04T03:02:01+00:00"
    path = Path("runs/rectangle.notices.sqlite")
    with closing(Outbox(path)) as outbox, alone(path):
        outbox.put([Notice("<1@b.org>", made, "find", "command", "tell", "Found amber", "x\n", "run.sqlite")])
        code, out, err = rover("notices", errand("command: tell"))
    assert (code, err) == (1, f"{path}: another process is at work sending these notices\n")
    assert out.startswith(f"{made}  command 'tell'  Found amber: 0 tries; waits for those before it\n")


def test_a_password_is_in_no_record_outbox_or_message(rover, errand, project, taker, monkeypatch):
    """The library's server takes no login without TLS, and says so: the password has been read by then."""
    monkeypatch.setattr("rover.notices.post.CLOSE_WITHIN_S", 0.2)
    monkeypatch.setattr("rover.notices.process.SenderProcess.nudge", end)
    person = project / "person.yaml"
    person.write_text("person: Me\npasswords: {localhost: hush-4711}\n")
    person.chmod(0o600)
    path = errand(by_mail(taker.port, more=", user: me"))
    said = [*rover("check", path), *rover("rehearse", path, "--notices"), *rover("notices", path)]
    assert "SMTP AUTH extension not supported by server" in str(said)
    assert "hush-4711" not in str(said)
    kept = [file for file in (project / "runs").rglob("*") if file.is_file()]
    assert len(kept) >= 2
    assert not [file for file in kept if b"hush-4711" in file.read_bytes()]
