"""Notices by mail: the message, and its way to the server."""

import base64
import smtplib
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP as POLICY
from typing import NamedTuple

from rover.errors import one_line
from rover.files.notices import Mail
from rover.notices.outbox import Notice
from rover.notices.way import Deliver, NotTakenError, UnreachableError

# No octet above 127: a server that cannot take 8 bits would have to make the message over.
_POLICY = POLICY.clone(cte_type="7bit")


class Patience(NamedTuple):
    """How long (s) a server is waited for: for each reply, and for its word that it has taken a message.

    That word is waited for longest: a client that gives up on it sends a message twice (RFC 5321, 4.5.3.2.6).
    """

    reply_s: float = 60.0
    taken_s: float = 600.0


def message_of(notice: Notice, sender: str) -> EmailMessage:
    """Return a notice as a message, without what goes along with it."""
    message = EmailMessage(_POLICY)
    message["Subject"] = notice.subject
    message["From"] = sender
    message["To"] = notice.recipient
    message["Date"] = datetime.fromisoformat(notice.made)
    message["Message-ID"] = notice.message_id
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's out-of-office answers it
    message.set_content(notice.text)
    return message


@contextmanager
def to_server(mail: Mail, password: str | None, patience: Patience) -> Iterator[Deliver]:
    """Log in at a mail server, and give what delivers a message there and returns the server's word.

    Raises:
        UnreachableError: it cannot be come to, or will have nothing to do with us.
    """
    if not (password or "").isascii():
        raise UnreachableError(
            f"{_place(mail)}: a password with letters beyond ASCII cannot be sent; choose another one"
        )
    hidden = _hider(password, mail.user)
    try:
        server = _logged_in(mail, password, patience)
    except (OSError, smtplib.SMTPException, UnicodeError) as error:
        raise UnreachableError(f"{_place(mail)}: {hidden(_in_words(error))}") from None
    try:
        yield lambda message: _deliver(server, message, patience, hidden)
    finally:
        with suppress(OSError, smtplib.SMTPException):
            server.quit()


def _place(mail: Mail) -> str:
    return f"{mail.server}:{mail.port_taken}"


def _logged_in(mail: Mail, password: str | None, patience: Patience) -> smtplib.SMTP:
    host, trusted = mail.server.strip("[]"), ssl.create_default_context()
    server: smtplib.SMTP
    if mail.security == "tls":
        server = smtplib.SMTP_SSL(host, mail.port_taken, timeout=patience.reply_s, context=trusted)
    else:
        server = smtplib.SMTP(host, mail.port_taken, timeout=patience.reply_s)
    try:
        if mail.security == "starttls":
            server.starttls(context=trusted)
        server.ehlo_or_helo_if_needed()
        if mail.user is not None:
            server.login(mail.user, password or "")
    except BaseException:
        server.close()
        raise
    return server


def _deliver(server: smtplib.SMTP, message: EmailMessage, patience: Patience, hidden: Callable[[str], str]) -> str:
    sender, recipient = message["From"].addresses[0].addr_spec, message["To"].addresses[0].addr_spec
    try:
        for code, said in (server.mail(sender), server.rcpt(recipient)):
            if code not in (250, 251):
                server.rset()
                raise NotTakenError(hidden(_reply(code, said)))
        assert server.sock is not None
        server.sock.settimeout(patience.taken_s)
        code, said = server.data(message.as_bytes())
        server.sock.settimeout(patience.reply_s)
    except smtplib.SMTPDataError as error:
        raise NotTakenError(hidden(_in_words(error))) from None
    except (OSError, smtplib.SMTPException) as error:
        raise UnreachableError(hidden(_in_words(error))) from None
    if code != 250:
        raise NotTakenError(hidden(_reply(code, said)))
    return hidden(_reply(code, said))


def _in_words(error: Exception) -> str:
    match error:
        case smtplib.SMTPResponseException():
            return _reply(error.smtp_code, error.smtp_error)
        case TimeoutError():
            return "no answer in time"
        case OSError(strerror=str(text)):
            return one_line(text)
    return one_line(str(error) or type(error).__name__)


def _reply(code: int, said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    printable = "".join(letter if letter.isprintable() else " " for letter in text)
    return one_line(f"{code} {printable}")


def _hider(password: str | None, user: str | None) -> Callable[[str], str]:
    """Return what takes a password out of a text: a server may repeat what it was told, in the forms it was told in."""
    if not password:
        return lambda text: text
    encoded = [base64.b64encode(text.encode()).decode() for text in (password, f"\0{user}\0{password}")]

    def hidden(text: str) -> str:
        for form in (password, *encoded):
            text = text.replace(form, "***")
        return text

    return hidden
