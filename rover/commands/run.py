"""`rover run`."""

from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Any

import click

from rover.commands import options
from rover.commands.given_files import assembled
from rover.commands.output import ProgressLine, new_record, show_result
from rover.commands.paging import run_page
from rover.commands.telling import telling
from rover.commands.true_places import offer
from rover.readiness.start import Start
from rover.readiness.tried import untried
from rover.session.hardware import with_ports
from rover.session.on_robot import Console, options_of, run_errand


@click.command()
@options.AN_ERRAND
@click.option("--enable-motion", is_flag=True, help="Enable motion without asking; only for one who sees the robot.")
@click.option(
    *("--resume", "state"),
    is_flag=False,
    flag_value="",
    metavar="[STATE]",
    help="Take an errand up again after a change of battery, from a saved state; by default from the newest in runs/.",
)
@options.PORTS
@options.seed("the behaviour")
@options.SETTINGS
@options.DRIVERS
@options.GUARD
@options.PAGE
@options.JSON
def command(
    errand: Path,
    settings: dict[str, Any],
    enable_motion: bool,
    page: tuple[str, int] | None,
    as_json: bool,
    **given: Any,
) -> int:
    """Carry an ERRAND out on the real robot. It stands still until motion is enabled."""
    assembly, activities = assembled(errand, settings)
    record = new_record(f"{errand.stem}-seed{given['seed']}")
    run_options = options_of(assembly, errand, record, given)
    with closing(ProgressLine()) as progress:
        parts = untried(assembly.robot_file, with_ports(assembly.robot, given["ports"]))
        start = partial(Start, say=progress.say, folder=record.parent, untried=parts, enable=enable_motion)
        start = partial(start, has_page=page is not None)
        may_read, about = assembly.robot.page.read_without_token, {"seed": str(run_options.seed)}
        with (
            telling(errand, assembly.errand, record, progress.say) as tell,
            run_page(page, about, run_options.guard, may_read=may_read) as shown,
        ):
            console = Console(start, progress.say, progress.show, tell, shown)
            ended = run_errand(assembly, activities, run_options, console)
            shown.end(f"{ended.result.result}: {ended.result.reason}")
    show_result(ended.result, ended.remarks, as_json=as_json)
    if not as_json:
        offer(record)
    return ended.exit_code
