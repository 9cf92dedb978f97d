"""`rover show`."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import ProgressLine
from rover.diagnosis.answer import answer
from rover.diagnosis.evidence import evidence_of
from rover.diagnosis.of_moment import moment_in_words
from rover.diagnosis.of_object import story_in_words
from rover.diagnosis.of_state import visits_in_words
from rover.errors import UserError
from rover.session.moment import moment_at


@click.command()
@click.argument("record", type=options.A_PATH)
@click.option(
    *("--at", "at_s"),
    metavar="TIME",
    callback=options.time_since_start,
    help="All that the core saw at a time since the run began, and how each condition stood: 83.2s.",
)
@click.option("--object", "number", type=int, metavar="NUMBER", help="The story of one object, by its number.")
@click.option("--state", metavar="PATH", help="All visits of one state, and how each ended: pick_up/approach.")
@options.DRIVERS
def command(record: Path, at_s: float | None, number: int | None, state: str | None) -> int:
    """Say why a run went as its RECORD has it: what ended it, what is not in, what troubled it, what to try.

    For --at the run is replayed up to then; activities of your own are looked for in --drivers.
    """
    if sum(one is not None for one in (at_s, number, state)) > 1:
        raise UserError("--at, --object and --state each ask for something else; give one of them")
    for line in _lines(record, at_s, number, state):
        click.echo(line)
    return 0


def _lines(record: Path, at_s: float | None, number: int | None, state: str | None) -> Iterator[str]:
    evidence = evidence_of(record)
    if at_s is not None:
        with closing(ProgressLine()) as line:
            moment = moment_at(record, evidence.run, at_s, lambda seconds, now_in: line.show(seconds, now_in, 0))
        yield from moment_in_words(moment, evidence)
    elif number is not None:
        yield from story_in_words(evidence, number)
    else:
        yield from answer(evidence) if state is None else visits_in_words(evidence, state)
