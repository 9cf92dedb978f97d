"""`rover bring-up`."""

import json
from dataclasses import asdict
from pathlib import Path

import click

from rover.commands import options
from rover.commands.given_files import robot_at_hand
from rover.commands.main import FAILED
from rover.commands.output import new_record, person_at_terminal
from rover.commands.paging import page_by_hand
from rover.errors import UserError
from rover.readiness.bring_up import CHECKS, BringUpResult, bring_up, is_off_the_ground
from rover.readiness.finding import Finding, Verdict
from rover.session.by_hand import guard_folder_of


@click.command()
@options.A_ROBOT
@options.PORTS
@options.GUARD
@options.DRIVERS
@click.option("--only", multiple=True, type=click.Choice(list(CHECKS)), help="Make this check alone; may be repeated.")
@click.option(
    "--yes-to-all",
    "yes",
    is_flag=True,
    help="Ask nobody: the wheels are off the ground, and the encoders alone tell.",
)
@options.PAGE
@options.JSON
def command(
    robot: Path,
    ports: dict[str, str],
    guard: Path | None,
    only: tuple[str, ...],
    yes: bool,
    page: tuple[str, int] | None,
    as_json: bool,
) -> int:
    """Bring a ROBOT up: each part by itself, wheels off the ground, saying which line of its file to change."""
    loaded = robot_at_hand(robot, ports)
    person = person_at_terminal("answer on standard input, or say --yes-to-all once the wheels are off the ground")
    names = [name for name in CHECKS if not only or name in only]
    if any(CHECKS[name].moves for name in names) and not yes and not is_off_the_ground(person):
        raise UserError("nothing was moved; put the robot on a stand first")
    record = new_record(f"{robot.stem}-bring-up")
    answering = None if yes or as_json else person
    guard, may_read = guard_folder_of(guard), loaded.model.page.read_without_token
    with page_by_hand(page, "bring-up", guard, may_read=may_read) as shown:
        result = bring_up(loaded, (guard, record), names, answering, _no_finding if as_json else _show_finding, shown)
    if as_json:
        click.echo(json.dumps(asdict(result)))
    else:
        _show_result(result)
    return 0 if result.as_expected else FAILED


def _show_finding(finding: Finding) -> None:
    click.echo(f"{finding.in_full()}\n")


def _no_finding(finding: Finding) -> None:
    """Show nothing: all comes at once, at the end."""


def _show_result(result: BringUpResult) -> None:
    odd = [finding.check for finding in result.findings if finding.verdict is Verdict.OTHERWISE]
    click.echo(f"not as expected: {', '.join(odd)}" if odd else "nothing that is not as expected")
    click.echo(f"record: {result.record}")
