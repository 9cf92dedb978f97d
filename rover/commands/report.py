"""`rover report`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.output import writing
from rover.record.reader import read
from rover.report.page import write_report


@click.command()
@click.argument("record", type=options.A_PATH)
def command(record: Path) -> int:
    """Write the report of a run RECORD: floor plan, finds, deliveries, as one HTML file beside it."""
    run = read(record)
    with writing():
        target = write_report(run, record.with_suffix(".html"))
    click.echo(f"report: {target}")
    return 0
