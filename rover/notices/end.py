"""The notice of a run's end: made of its record, whoever is left to make it."""

import time
from datetime import datetime
from email.message import EmailMessage
from functools import lru_cache
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

from rover.errors import UserError
from rover.files.notices import END, Templates
from rover.notices.outbox import Notice, Outbox, Waiting
from rover.notices.words import end_values, filled
from rover.record.reader import read
from rover.report.files import png_of, svg_of
from rover.report.floor import read_ground
from rover.report.markup import add
from rover.report.plan import draw_plan
from rover.report.view import WIDTH

PLAN = "plan@rover"
ZOOM = 1.2
"""Pixels of the plan for a unit of the picture: what a mail shows is 1200 across."""


def fill_in_end(outbox: Outbox, one: Waiting, templates: Templates) -> Waiting:
    """Give the notice of a run's end its words, in the outbox too: they are the same in every try."""
    notice, ended = one.notice, _written_at(Path(one.notice.record))
    try:
        run = read(Path(notice.record))
        values = end_values(run) | {"errand": run.header.get("title", "")}
    except UserError as error:
        values = dict.fromkeys(("errand", "after", "delivered", "account", "table"), "?")
        values |= {"result": "ended", "reason": f"the record tells no more ({error})"}
    values |= {"time": ended.isoformat(" ", "seconds"), "record": notice.record}
    subject, text = filled(templates, END, values)
    made = ended.isoformat(timespec="seconds")
    worded = notice._replace(made=made, subject=notice.subject + subject, text=text, run="")
    outbox.fill_in(one.number, worded)
    return one._replace(notice=worded)


def _written_at(record: Path) -> datetime:
    """Return when a record was last written to: a run may have ended long before anybody asks."""
    files = [path for path in (record, Path(f"{record}-wal")) if path.exists()]
    return datetime.fromtimestamp(max((path.stat().st_mtime for path in files), default=time.time())).astimezone()


def with_picture(message: EmailMessage, notice: Notice) -> EmailMessage:
    """Return the message of a run's end with the plan below its words; any other as it is.

    Where the plan cannot be drawn the words go by themselves.
    """
    plan = _plan(notice.record) if notice.occasion == END else None
    if plan is None:
        return message
    kind, drawn = plan
    message.add_alternative(_page(notice.subject, notice.text), subtype="html", cte="quoted-printable")
    page = message.get_payload(1)
    assert isinstance(page, EmailMessage)
    page.add_related(drawn, "image", kind, cid=f"<{PLAN}>", filename=f"plan.{kind.partition('+')[0]}")
    return message


def _page(title: str, text: str) -> str:
    """Return the words and the plan as a page; the words' table stays aligned."""
    page = Element("html", {"lang": "en"})
    add(add(page, "head"), "title", text=title)
    body = add(page, "body")
    add(body, "pre", text=text)
    add(body, "img", {"src": f"cid:{PLAN}", "alt": "Floor plan of the run", "style": "max-width: 100%"})
    return f"<!DOCTYPE html>\n{tostring(page, encoding='unicode', method='html')}\n"


@lru_cache(maxsize=2)  # it goes along in every try
def _plan(record: str) -> tuple[str, bytes] | None:
    """Return the plan of a recorded run: what kind of image it is, and the image; as SVG where nothing draws PNG."""
    try:
        run = read(Path(record))
        picture = draw_plan(read_ground(run.header), run, WIDTH)
    except Exception:  # a record cut off anywhere; what happened must be told all the same
        return None
    try:
        return "png", png_of(picture, ZOOM)
    except UserError:
        return "svg+xml", svg_of(picture).encode()
