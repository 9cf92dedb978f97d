"""`rover records`."""

from pathlib import Path

import click

from rover.commands import options
from rover.diagnosis.words import duration
from rover.errors import UserError
from rover.record.reader import summary
from rover.record.run import CUT_OFF, NoRecordError, RecordError, RunSummary
from rover.trials.words import aligned

ENDING = ".sqlite"
HEADS = ("record", "result", "+in", "+time")
WIDEST = 24
"""So many letters of a result are shown: a line has 80 columns."""


@click.command()
@click.argument("folder", type=options.PathType(file_okay=False), default="runs")
def command(folder: Path) -> int:
    """List the runs that are recorded in a FOLDER (by default runs), oldest first, with their results.

    PARTIAL is a record that ends before its run did, DAMAGED one that cannot be read; why, stands below.
    """
    if not folder.is_dir():
        raise UserError(f"{folder}: there is no such folder; give the one in which the run records are")
    runs: list[tuple[str, tuple[str, ...]]] = []
    damaged: list[RecordError] = []
    for path in sorted(folder.glob(f"*{ENDING}")):
        try:
            run = summary(path)
        except NoRecordError:
            continue  # an outbox of notices, or the rows of a campaign
        except RecordError as error:
            damaged.append(error)
            runs.append(("", (path.stem, "DAMAGED", "", "")))
        else:
            runs.append((run.header.get("started", ""), (path.stem, *_of_run(run))))
    if not runs:
        click.echo(f"{folder}: there are no run records ({ENDING}) in it")
        return 0
    for line in aligned(HEADS, [row for _, row in sorted(runs)]):
        click.echo(line)
    for why in damaged:
        click.echo(str(why))
    return 0


def _of_run(run: RunSummary) -> tuple[str, str, str]:
    lasted = duration(run.seconds)
    if run.outcome is None or run.outcome.result == CUT_OFF:
        return "PARTIAL", "", lasted
    result, reason, counts = run.outcome.result, run.outcome.reason, run.outcome.summary
    delivered, expected = counts.get("delivered"), counts.get("expected")
    of = "" if expected is None else f" of {expected}"
    brought = f"{delivered}{of}" if delivered or expected else ""
    text = f"{result} ({reason})" if reason else result
    return text if len(text) <= WIDEST else f"{text[: WIDEST - 3]}...", brought, lasted
