"""`rover check --driver`: this alone of `rover check` runs code of a person's own."""

from pathlib import Path

import click

from rover.commands.given_files import say_loading
from rover.commands.main import FAILED
from rover.commands.output import person_at_terminal
from rover.errors import UserError
from rover.files.load import load
from rover.files.robot import Robot
from rover.readiness.bring_up import is_off_the_ground
from rover.readiness.driver import check_driver, subjects
from rover.readiness.finding import IN_TABLE, Finding, Verdict
from rover.session.hard_end import HardEnd


def check_driver_in(file: Path | None, driver: str, *, is_free_to_move: bool) -> int:
    """Try a driver by what a robot file says of its devices, and say what was found; return the exit code."""
    click.get_current_context().with_resource(HardEnd())
    robot: Robot | None = None if file is None else load(file, "robot").model
    say_loading([driver])
    is_good = True
    with subjects(driver, robot) as found:
        if any(subject.acts for subject in found) and not is_free_to_move:
            person = person_at_terminal("answer on standard input, or say --yes-to-all once all is free to move")
            if not is_off_the_ground(person):
                raise UserError("nothing was moved; put the robot on a stand first")
        for subject in found:
            click.echo(f"{subject.name}: {driver}")
            for finding in check_driver(subject):
                is_good = is_good and finding.verdict is not Verdict.OTHERWISE
                _show(finding)
    return 0 if is_good else FAILED


def _show(finding: Finding) -> None:
    click.echo(f"  {IN_TABLE[finding.verdict]:<9}  {finding.check}")
    for line in (finding.measured, *finding.advice):
        if line:
            click.echo(f"             {line}")
