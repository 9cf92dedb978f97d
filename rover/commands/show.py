"""`rover show`."""

from collections.abc import Iterator
from pathlib import Path

import click

from rover.commands import options
from rover.diagnosis.answer import answer
from rover.diagnosis.evidence import Evidence, evidence_of
from rover.diagnosis.of_object import story_in_words
from rover.diagnosis.of_state import visits_in_words


@click.command()
@click.argument("record", type=options.A_PATH)
@click.option("--object", "number", type=int, metavar="NUMBER", help="The story of one object, by its number.")
@click.option("--state", metavar="PATH", help="All visits of one state, and how each ended: pick_up/approach.")
def command(record: Path, number: int | None, state: str | None) -> int:
    """Say why a run went as its RECORD has it: what ended it, what is not in, what troubled it, what to try."""
    for line in _lines(evidence_of(record), number, state):
        click.echo(line)
    return 0


def _lines(evidence: Evidence, number: int | None, state: str | None) -> Iterator[str]:
    if number is not None:
        return story_in_words(evidence, number)
    return answer(evidence) if state is None else visits_in_words(evidence, state)
