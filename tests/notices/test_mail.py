"""The way to the server: TLS, logging in, and that a password shows nowhere."""

import base64
import ssl
from collections.abc import Callable
from pathlib import Path
from ssl import SSLContext
from typing import Any

import pytest
import trustme
from aiosmtpd.smtp import AuthResult

from rover.errors import UserError
from rover.files.notices import Mail
from rover.notices.mail import Patience, message_of, to_server
from rover.notices.outbox import Notice
from rover.notices.way import NotTakenError, UnreachableError

from .conftest import BadServer, Manners

IMPATIENT = Patience(2.0, 5.0)
SECRET = "pass word 4711"
NOTICE = Notice(
    "<1@b.org>", "2026-05-04T03:02:01+02:00", "find", "mail", "c@d.org", "Ümlaut", "x = 1 m, 5 \u00b0\n", ""
)
Serving = Callable[..., BadServer]


@pytest.fixture
def authority(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SSLContext:
    """A server's certificate, by an authority that this computer trusts while a test runs."""
    ours = trustme.CA()
    ours.cert_pem.write_to_path(str(tmp_path / "ours.pem"))
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ours.pem"))
    return context_of(ours)


def context_of(authority: trustme.CA, name: str = "localhost") -> SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    authority.issue_cert(name).configure_cert(context)
    return context


def mail(port: int, security: str, user: str | None = None) -> Mail:
    login = {"user": user} if user else {}
    values: dict[str, Any] = {"server": "localhost", "port": port, "security": security, "sender": "a@b.org"}
    return Mail.model_validate({**values, "to": "c@d.org", **login})


def send(mail: Mail, password: str | None = None) -> str:
    with to_server(mail, password, IMPATIENT) as deliver:
        return deliver(message_of(NOTICE, mail.sender))


def knows(server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
    return AuthResult(success=data.password == SECRET.encode(), handled=False)


def test_a_message_arrives_as_it_was_meant(serving: Serving, port: int, manners: Manners) -> None:
    serving()
    assert send(mail(port, "none")) == "250 taken"
    (message,) = manners.taken
    headers = {name: message[name] for name in ("Subject", "From", "To", "Date", "Message-ID", "Auto-Submitted")}
    assert headers == {
        "Subject": "Ümlaut",
        "From": "a@b.org",
        "To": "c@d.org",
        "Date": "Mon, 04 May 2026 03:02:01 +0200",
        "Message-ID": "<1@b.org>",
        "Auto-Submitted": "auto-generated",
    }
    assert message.get_content().splitlines() == NOTICE.text.splitlines()


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_it_logs_in_under_tls(
    serving: Serving, port: int, manners: Manners, authority: SSLContext, security: str
) -> None:
    # Under TLS from the first byte the library's server takes logins for unprotected, and warns.
    how = {"tls_context": authority, "auth_required": True}
    serving(**(how if security == "starttls" else {"tls": authority, "auth_require_tls": False}), authenticator=knows)
    assert send(mail(port, security, "me"), SECRET) == "250 taken"
    assert manners.ids == ["<1@b.org>"]


@pytest.mark.parametrize("name", ["other authority", "other name"])
def test_a_server_that_cannot_show_who_it_is_is_told_nothing(
    serving: Serving, port: int, manners: Manners, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    ours, theirs = trustme.CA(), trustme.CA()
    ours.cert_pem.write_to_path(str(tmp_path / "ours.pem"))
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ours.pem"))
    context = context_of(theirs) if name == "other authority" else context_of(ours, "elsewhere.example.org")
    serving(tls_context=context, authenticator=knows)
    with pytest.raises(UnreachableError, match="certificate verify failed"):
        send(mail(port, "starttls", "me"), SECRET)
    assert not manners.taken


def test_without_starttls_nothing_is_told(serving: Serving, port: int, manners: Manners) -> None:
    serving(authenticator=knows, auth_require_tls=False)
    with pytest.raises(UnreachableError, match="STARTTLS extension not supported"):
        send(mail(port, "starttls", "me"), SECRET)
    assert not manners.taken


def test_a_wrong_password_is_said_and_not_shown(
    serving: Serving, port: int, manners: Manners, authority: SSLContext
) -> None:
    serving(tls_context=authority, authenticator=knows)
    with pytest.raises(UnreachableError, match=f"localhost:{port}: 535 ") as refused:
        send(mail(port, "starttls", "me"), "wrong one")
    assert "wrong one" not in str(refused.value)


@pytest.mark.parametrize("form", [SECRET, base64.b64encode(SECRET.encode()).decode()])
def test_a_password_that_a_server_repeats_is_taken_out(
    serving: Serving, port: int, manners: Manners, authority: SSLContext, form: str
) -> None:
    manners.at = {"taken": [f"554 I do not like {form}"], "MAIL": [f"550 nor {form}"]}
    serving(tls_context=authority, authenticator=knows, enable_SMTPUTF8=True)
    for said in ("550 nor ***", "554 I do not like ***"):
        with pytest.raises(UserError) as refused:
            send(mail(port, "starttls", "me"), SECRET)
        assert str(refused.value) == said


def test_a_password_that_cannot_be_sent_is_said_and_not_shown() -> None:
    with pytest.raises(UnreachableError, match="a password with letters beyond ASCII") as refused:
        send(mail(1, "starttls", "me"), "pässword")
    assert "ssword" not in str(refused.value).replace("password", "")


def test_a_reply_is_one_printable_line(serving: Serving, port: int, manners: Manners) -> None:
    manners.at = {"RCPT": ["550-no\r\n550-\x1b[31mnever\r\n550 " + "x" * 400]}
    serving()
    with pytest.raises(NotTakenError) as refused:
        send(mail(port, "none"))
    assert str(refused.value).startswith("550 no [31mnever xxx")
    assert str(refused.value).isprintable()
    assert len(str(refused.value)) <= 300
