"""`rover calibrate`."""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click

from rover.calibrate import camera, robot_file, session
from rover.calibrate.findings import Findings
from rover.calibrate.gripper import widened
from rover.calibrate.looking import live_frame, pictures_needed
from rover.calibrate.onboard import on_the_robot
from rover.calibrate.person import HumanAssistant
from rover.commands import options
from rover.commands.given_files import robot_at_hand
from rover.commands.output import new_record, person_at_terminal, writing
from rover.errors import UserError, to_install
from rover.files.load import Loaded, load
from rover.files.robot import Robot
from rover.quantities import LENGTH, parse_as
from rover.readiness.person import NobodyAnswersError, Person
from rover.readiness.tried import see_that_all_are_tried

ON_THE_ROBOT = "on the robot"


@click.command()
@options.A_ROBOT
@options.PORTS
@options.GUARD
@options.DRIVERS
@click.argument("what", type=click.Choice(("drive", "heading", "range", "gripper", "camera", "latency")))
@click.option(
    "--pictures",
    type=options.PathType(exists=True, file_okay=False),
    help="For 'camera': a folder of pictures with a regions.yaml, instead of the live camera.",
)
@click.option("--bench", type=options.A_PATH, help="Practise on this bench file instead of the robot.")
@options.seed("the bench")
@click.option("--side", default="1 m", show_default=True, metavar="LENGTH", help="Side of the squares of 'drive'.")
@click.option("--write", is_flag=True, help="Write the robot file without asking.")
def command(robot: Path, ports: dict[str, str], what: str, side: str, write: bool, **given: Any) -> int:
    """Calibrate a ROBOT's drive, heading, range, gripper, camera or its latency, and offer to correct its file."""
    if write and given["bench"] is not None:
        raise UserError(
            "--write goes with the robot itself: what is found with --bench are values of the bench's robot"
        )
    loaded = robot_at_hand(robot, ports)
    if what != "camera" and given["bench"] is None:
        see_that_all_are_tried(loaded)
    person = person_at_terminal("calibrate at a terminal, or with --bench")
    try:
        order = session.Order(what, parse_as(side, LENGTH))
        path = new_record(f"{robot.stem}-calibrate-{what}", ".json")
        with writing(), pictures_needed():
            outcome = _calibrated(order, loaded, path, person, given)
            kept = session.keep(outcome, order, path)
    except UserError as error:
        error.add_note("nothing was written")
        raise
    for line in (*session.table(outcome.found.changes), *outcome.found.lines, *outcome.truth):
        click.echo(line)
    click.echo(f"record: {', '.join(map(str, kept))}")
    if len(kept) == 1 and outcome.found.plots:
        click.echo(f"no picture; this brings what draws it: {to_install('report')}")
    if outcome.found.changes and (write or _is_to_be_written(robot, outcome, person)):
        _write(robot, outcome.found)
    return 0


def _calibrated(
    order: session.Order, loaded: Loaded[Robot], path: Path, person: Person, given: Mapping[str, Any]
) -> session.CalibrationOutcome:
    """Return what a calibration found, on the bench that was named or on the robot."""
    if order.what == "camera":
        found = _camera_findings(loaded.model, path, given["pictures"], person)
        return session.CalibrationOutcome(found, ON_THE_ROBOT)
    if given["bench"] is not None:
        return session.practise(order, loaded.model, load(given["bench"], "bench").model, given["seed"])
    driven = replace(loaded, model=widened(loaded.model)) if order.what == "gripper" else loaded
    with on_the_robot(driven, given["guard"], path.with_suffix(".sqlite"), person) as (drivetrain, assistant):
        found = session.calibrate(order, drivetrain, assistant, loaded.model)
        return session.CalibrationOutcome(found, ON_THE_ROBOT)


def _camera_findings(robot: Robot, path: Path, pictures: Path | None, person: Person) -> Findings:
    """Return what the pictures of a folder tell, or those that a person now helps to take."""
    if pictures is None:
        ready = HumanAssistant(person).ready
        pictures = camera.take_pictures(robot, partial(live_frame, robot), ready, path.with_suffix(".pictures"))
    return camera.findings(pictures, robot, path.with_suffix(".masks"))


def _is_to_be_written(robot: Path, outcome: session.CalibrationOutcome, person: Person) -> bool:
    """Ask whether the robot file is to be written; who does not answer wants it as it was."""
    if outcome.where != ON_THE_ROBOT:
        click.echo(f"these are the values of the bench's robot, not of a real one: {robot} is as it was")
        return False
    try:
        is_to_be = person.ask(f"put the values into {robot}? Type yes [no]:") == "yes"
    except NobodyAnswersError:
        click.echo(err=True)
        is_to_be = False
    if not is_to_be:
        click.echo(f"{robot} is as it was")
    return is_to_be


def _write(robot: Path, found: Findings) -> None:
    try:
        with writing():
            backup = robot_file.write(robot, found.changes)
    except UserError as error:
        error.add_note(f"{robot} is as it was")
        raise
    click.echo(f"{robot} is written; as it was: {backup.name}")
