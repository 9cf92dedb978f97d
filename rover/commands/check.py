"""`rover check`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.main import FAILED


@click.command()
@click.argument("file", required=False, type=options.A_PATH)
@click.option(
    "--driver",
    metavar="MODULE:CLASS",
    is_eager=True,
    help="Run this driver, and try whether it does what it must.",
)
@click.option("--yes-to-all", "yes", is_flag=True, help="Ask nobody: what the driver moves is free to move.")
@options.DRIVERS_UNOPENED
def command(file: Path | None, driver: str | None, yes: bool) -> int:
    """Check an errand, behaviour, robot or bench FILE; without one, check this computer.

    With --driver: try a driver of your own, by what a robot FILE says of its device. It alone is run.
    """
    if driver is not None:
        from rover.commands.driver_check import check_driver_in

        return check_driver_in(file, driver, is_free_to_move=yes)
    return _check_computer() if file is None else _check_file(file)


def _check_computer() -> int:
    from rover.readiness.computer import survey
    from rover.readiness.finding import Verdict, table

    findings = survey()
    for line in table(findings):
        click.echo(line)
    return FAILED if any(finding.verdict is Verdict.OTHERWISE for finding in findings) else 0


def _check_file(file: Path) -> int:
    from rover.readiness.files import check_file

    report = check_file(file)
    for warning in report.warnings:
        click.echo(str(warning), err=True)
    for line in report.lines:
        click.echo(line)
    return 0
