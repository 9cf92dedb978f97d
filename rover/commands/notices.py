"""`rover notices`."""

from contextlib import closing
from datetime import datetime
from pathlib import Path

import click

from rover.commands import options
from rover.commands.main import FAILED
from rover.errors import UserError
from rover.files.errand import Errand
from rover.files.load import load
from rover.notices.drafts import Drafts
from rover.notices.mail import Patience
from rover.notices.outbox import ENDING, Notice, Outbox
from rover.notices.sender import AtWorkError, Sender, alone
from rover.notices.way import MAIL
from rover.notices.ways import notices_of, opened

AT_HAND = Patience(20.0, 60.0)
"""A person waits for the server's word, but not as long as the background can."""


@click.command()
@options.AN_ERRAND
@click.option("--test", is_flag=True, help="Send a notice on trial now, and say what came back.")
def command(errand: Path, test: bool) -> int:
    """Send what waits of an ERRAND's notices, and say what came of it; each run does so too."""
    notices_of(errand)
    return _try(errand) if test else _send_waiting(errand)


def _try(errand: Path) -> int:
    """Send a notice on trial by every way, apart from what waits."""
    notices, model = notices_of(errand), load(errand, "errand").model
    assert isinstance(model, Errand)
    code = 0
    for notice in Drafts(model.errand, notices, Path(), "").test(datetime.now().astimezone()):
        try:
            with opened(notice.way, notices, AT_HAND) as send:
                said = send(notice)
        except UserError as error:
            code, said = FAILED, f"NOT SENT: {error}"
        click.echo(f"{_whither(notice)}: {said}")
    return code


def _send_waiting(errand: Path) -> int:
    path = Path("runs") / f"{errand.stem}{ENDING}"
    if not path.exists():
        click.echo(f"nothing waits: there is no {path}")
        return 0
    with closing(Outbox(path)) as outbox:
        before = outbox.waiting()
        try:
            with alone(path):
                Sender(outbox, errand, patience=AT_HAND).send_due()
        except AtWorkError as error:
            click.echo(str(error), err=True)
        left = outbox.waiting()
    for one in left:
        why = "its run goes on" if one.notice.run else f"{one.tries} tries; {one.last or 'waits for those before it'}"
        subject = one.notice.subject or "the end of a run"
        click.echo(f"{one.notice.made}  {_whither(one.notice)}  {subject}: {why}")
    click.echo(f"{len(before) - len(left)} sent, {len(left)} wait in {path}")
    return FAILED if any(not one.notice.run for one in left) else 0


def _whither(notice: Notice) -> str:
    return f"{notice.way} to {notice.recipient}" if notice.way == MAIL else f"{notice.way} '{notice.recipient}'"
