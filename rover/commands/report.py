"""`rover report`."""

from pathlib import Path

import click

from rover.commands import options, true_places
from rover.commands.output import person_at_terminal, writing
from rover.diagnosis.answer import answer
from rover.diagnosis.evidence import Evidence
from rover.record.frames import folder_of
from rover.record.reader import read_numbered
from rover.record.series import read_series
from rover.record.surveyed import path_beside
from rover.report.files import folder_beside, write_pictures, write_tables
from rover.report.page import sections_of, write_report
from rover.report.surveyed import with_measured
from rover.report.video import write_video


@click.command()
@click.argument("record", type=options.A_PATH)
@click.option(
    "--surveyed",
    type=options.A_PATH,
    metavar="FILE",
    help="True positions measured with a tape, a CSV file (number or kind, x, y, with units); without it, those that "
    "were typed in, if any.",
)
@click.option("--csv", "as_csv", is_flag=True, help="Write the tables and the path as CSV files, too.")
@click.option("--png", "as_png", is_flag=True, help="Write the pictures as PNG, too (needs the extra 'report').")
@click.option("--video", is_flag=True, help="Write a time-lapse, too (needs the extra 'vision').")
@click.option("--type-in", is_flag=True, help="Ask for the true positions first, find by find, and keep them.")
def command(record: Path, surveyed: Path | None, as_csv: bool, as_png: bool, video: bool, type_in: bool) -> int:
    """Write the report of a run RECORD: floor plan, finds, deliveries, as one HTML file beside it."""
    run, numbers = read_numbered(record)
    said = list(answer(Evidence(run, numbers)))
    if type_in:
        person = person_at_terminal("write them into a CSV file, and give it with --surveyed")
        true_places.type_in(record, run, person)
    if surveyed is None and path_beside(record).exists():
        surveyed = path_beside(record)
    if surveyed is not None:
        run = with_measured(run, surveyed)
    series = read_series(record)
    with writing():
        click.echo(f"report: {write_report(run, record.with_suffix('.html'), series, said)}")
        folder = folder_beside(record)
        if as_csv:
            write_tables(sections_of(run, series), run, series, folder)
        if as_png:
            write_pictures(sections_of(run, series), folder)
    if as_csv or as_png:
        click.echo(f"files: {folder}")
    if video:
        click.echo(f"video: {write_video(run, folder_of(record), record.with_suffix('.webm'))}")
    return 0
