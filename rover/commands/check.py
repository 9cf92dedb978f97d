"""`rover check`."""

from pathlib import Path

import click

from rover.commands import options
from rover.commands.main import FAILED
from rover.errors import UserError

BESIDE = "beside the errand"


@click.command()
@click.argument("file", required=False, type=options.A_PATH)
@click.option(
    "--driver",
    metavar="MODULE:CLASS",
    is_eager=True,
    help="Run this driver, and try whether it does what it must.",
)
@click.option(
    "--picture",
    metavar="[FILE.svg]",
    is_flag=False,
    flag_value=BESIDE,
    help="Draw the errand's floor: ground in reach, tray, gate, lookouts. Without a name, beside the errand.",
)
@click.option("--yes-to-all", "yes", is_flag=True, help="Ask nobody: what the driver moves is free to move.")
@options.DRIVERS_UNOPENED
def command(file: Path | None, driver: str | None, picture: str | None, yes: bool) -> int:
    """Check an errand, behaviour, robot or bench FILE; without one, check this computer.

    With --driver: try a driver of your own, by what a robot FILE says of its device. It alone is run.
    """
    if driver is not None:
        from rover.commands.driver_check import check_driver_in

        return check_driver_in(file, driver, is_free_to_move=yes)
    if picture is not None:
        _draw(file, picture)
    return _check_computer() if file is None else _check_file(file)


def _draw(file: Path | None, picture: str) -> None:
    """Draw an errand's floor; what cannot work on it shows best there, so that this comes before the check.

    Raises:
        UserError: no errand is given, or the picture cannot be written.
        FileProblems: the files cannot be read.
    """
    from rover.commands.output import writing

    target = Path(picture)
    if picture != BESIDE and target.suffix != ".svg":
        raise UserError(
            f"--picture {picture}: the picture's name ends with .svg, and the errand stands before --picture"
        )
    if file is None:
        raise UserError("--picture draws the floor of an errand; name its file before it")
    from rover.feasibility.layout import layout_of
    from rover.report.errand_plan import write_errand_plan
    from rover.session.assembly import assemble

    assembly = assemble(file, {})
    if picture == BESIDE:
        target = file.with_name(f"{file.stem}-floor.svg")
    with writing():
        write_errand_plan(layout_of(assembly.errand, assembly.robot), target)
    click.echo(f"picture: {target}")


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
