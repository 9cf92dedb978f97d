"""`rover rehearse`."""

from contextlib import closing
from pathlib import Path
from typing import Any

import click

from rover.commands import options
from rover.commands.given_files import assembled
from rover.commands.main import FAILED
from rover.commands.output import ProgressLine, new_record, show_result
from rover.commands.paging import run_page
from rover.commands.telling import MARK, NOT_IN_REHEARSAL, telling
from rover.files.given import Given
from rover.session.assembly import loads_in_rehearsal
from rover.session.on_bench import Rehearsal, Watched
from rover.session.without import SAFEGUARDS, left_out

WATCHED_PACE = 5.0
"""A person follows that, and sees an errand of an hour in twelve minutes."""


@click.command()
@options.AN_ERRAND
@options.seed("bench and behaviour")
@options.SETTINGS
@options.GIVEN
@options.FAULTS
@click.option(
    "--wired", is_flag=True, help="Send counts, heading, battery and commands as bytes through a serial line."
)
@click.option("--rendered", is_flag=True, help="Draw what the camera sees, and find the objects in the pictures.")
@options.PAGE
@click.option(
    "--pace",
    type=click.FloatRange(1.0, 50.0),
    metavar="FACTOR",
    help="Go so many times as fast as real time, 1 to 50; by default as fast as it goes, with --page 5.",
)
@click.option("--without", type=click.Choice([*SAFEGUARDS][1:]), help="Leave a safeguard out.")
@click.option("--readings", is_flag=True, help="Record what every device reported, as a run on the robot does.")
@click.option("--notices", "tells", is_flag=True, help="Send the errand's notices, each marked as a rehearsal's.")
@options.DRIVERS
@options.JSON
def command(
    errand: Path,
    seed: int,
    settings: dict[str, Any],
    values: dict[str, Any],
    faults: tuple[str, ...],
    as_json: bool,
    wired: bool,
    rendered: bool,
    without: str | None,
    readings: bool,
    tells: bool,
    page: tuple[str, int] | None,
    pace: float | None,
) -> int:
    """Rehearse an ERRAND on the bench, without the robot."""
    assembly, activities = assembled(errand, settings, loads_in_rehearsal, Given(values, faults))
    assembly, parts = left_out(without or "", assembly)
    record = new_record(f"{errand.stem}-seed{seed}")
    if assembly.errand.notices is not None and not tells:
        click.echo(NOT_IN_REHEARSAL, err=True)
    pace = pace if page is None else pace or WATCHED_PACE
    about = {"seed": str(seed), "pace": f"{pace or 1:g} times real time"}
    may_read = assembly.robot.page.read_without_token
    with closing(ProgressLine()) as progress, run_page(page, about, may_read=may_read) as shown:
        how, depth = Watched(shown, pace), {"wired": wired, "rendered": rendered, "with_readings": readings}
        rehearsal = Rehearsal(assembly, activities, seed, record, parts=parts, watched=how, **depth)
        with telling(errand, assembly.errand if tells else None, record, progress.say, MARK) as tell:
            result = rehearsal.run(progress.show, tell)
        shown.end(f"{result.result}: {result.reason}")
    show_result(result, rehearsal.remarks, as_json=as_json)
    return 0 if result.is_clean else FAILED
