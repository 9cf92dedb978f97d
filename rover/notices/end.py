"""The notice of a run's end: made of its record, whoever is left to make it."""

from email.message import EmailMessage
from pathlib import Path

from rover.errors import UserError
from rover.files.notices import END, Templates
from rover.notices.outbox import Notice, Outbox, Waiting
from rover.notices.words import end_values, filled
from rover.record.reader import read


def fill_in_end(outbox: Outbox, one: Waiting, templates: Templates) -> Waiting:
    """Give the notice of a run's end its words, in the outbox too: they are the same in every try."""
    notice = one.notice
    try:
        run = read(Path(notice.record))
        values = end_values(run) | {"errand": run.header.get("title", "")}
    except UserError as error:
        values = dict.fromkeys(("errand", "after", "delivered", "of", "account", "table"), "?")
        values |= {"result": "ended", "reason": f"the record tells no more ({error})"}
    subject, text = filled(templates, END, values | {"time": notice.made, "record": notice.record})
    subject = notice.subject + subject
    outbox.fill_in(one.number, subject, text)
    return one._replace(notice=notice._replace(subject=subject, text=text, run=""))


def with_picture(message: EmailMessage, notice: Notice) -> EmailMessage:
    """Return the message of a run's end with the report going along; any other as it is.

    A record that cannot be read, or drawn, takes nothing from the words.
    """
    return message
