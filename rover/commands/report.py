"""`rover report`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import writing
from rover.record.reader import read
from rover.record.surveyed import path_beside
from rover.report.page import write_report
from rover.report.surveyed import with_measured


@click.command()
@click.argument("record", type=options.A_PATH)
@click.option(
    "--surveyed",
    type=options.A_PATH,
    metavar="FILE",
    help="True positions measured with a tape, a CSV file (number or kind, x, y, with units); without it, those that "
    "were typed in, if any.",
)
def command(record: Path, surveyed: Path | None) -> int:
    """Write the report of a run RECORD: floor plan, finds, deliveries, as one HTML file beside it."""
    run = read(record)
    if surveyed is None and path_beside(record).exists():
        surveyed = path_beside(record)
    if surveyed is not None:
        run = with_measured(run, surveyed)
    with writing():
        target = write_report(run, record.with_suffix(".html"))
    click.echo(f"report: {target}")
    return 0
