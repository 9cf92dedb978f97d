"""The commands, thin: arguments in, sentences and exit codes out.

Exit codes of every command: 0 done, or as expected; 1 the errand failed or stopped, or a check found what it
looks for; 2 unusable input; 130 interrupted (SIGINT); 143 terminated (SIGTERM).
"""

import json
import signal
import sys
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

import click

from rover import __version__
from rover.files.problems import FileProblems, Problem

FAILED, UNUSABLE, INTERRUPTED, TERMINATED = 1, 2, 130, 143


class Terminated(BaseException):
    """SIGTERM came."""


def _on_sigterm(number: int, frame: FrameType | None) -> NoReturn:
    raise Terminated


class Unusable(click.ClickException):
    """Input that cannot be used: one clear message, exit code 2."""

    exit_code = UNUSABLE

    def show(self, file: Any = None) -> None:
        """Write the message to stderr."""
        click.echo(self.message, err=True)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="rover")
def commands() -> None:
    """Onboard runtime for a small wheeled fetch-and-return robot.

    Exit codes: 0 done, 1 failed or stopped or found, 2 unusable input, 130 interrupted, 143 terminated.
    """


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command; the one place where exceptions become messages and exit codes."""
    signal.signal(signal.SIGTERM, _on_sigterm)
    try:
        code = commands.main(args=arguments, prog_name="rover", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except FileProblems as error:
        _show_problems(error.problems)
        sys.exit(UNUSABLE)
    except (click.Abort, KeyboardInterrupt):
        click.echo("\ninterrupted", err=True)
        sys.exit(INTERRUPTED)
    except Terminated:
        click.echo("\nterminated", err=True)
        sys.exit(TERMINATED)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(FAILED)
    sys.exit(code if isinstance(code, int) else 0)


def _show_problems(problems: Sequence[Problem]) -> None:
    for problem in problems:
        click.echo(str(problem), err=True)
    errors = sum(not problem.warning for problem in problems)
    warnings = len(problems) - errors
    if errors:
        also = f" and {warnings} warning{'s' * (warnings != 1)}" if warnings else ""
        click.echo(f"{errors} problem{'s' * (errors != 1)}{also}; nothing was run", err=True)


@commands.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
def check(file: Path | None) -> int:
    """Check an errand, behaviour, robot or bench FILE; without one, check this computer."""
    if file is None:
        from rover.runtime.computer import survey

        rows = survey()
        width = max(len(row.name) for row in rows)
        for row in rows:
            click.echo(f"{row.name:<{width}}  {row.finding}{'' if row.ready else '  <- ' + row.mend}")
        return 0 if all(row.ready or row.optional for row in rows) else FAILED
    from rover.runtime.checking import check_file

    report = check_file(file)
    _show_problems(report.warnings)
    for line in report.lines:
        click.echo(line)
    return 0


@commands.command()
@click.argument("errand", type=click.Path(path_type=Path))
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of bench and behaviour.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Override one of the behaviour's settings.")
@click.option(
    "--wired", is_flag=True, help="Send counts, heading, battery and commands as bytes through a serial line."
)
@click.option(
    "--drivers",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder from which drivers and activities named in the files may be imported.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
def rehearse(
    errand: Path, seed: int, settings: tuple[str, ...], wired: bool, drivers: tuple[Path, ...], as_json: bool
) -> int:
    """Rehearse an ERRAND on the bench, without the robot."""
    from rover.devices.registry import LoadError, allow_folders
    from rover.link.port import PortError
    from rover.record.run import RecordError
    from rover.runtime.assembly import loads, with_user_activities
    from rover.runtime.rehearse import Rehearsal

    allow_folders(drivers)
    try:
        assembly, activities = with_user_activities(errand, _overrides(settings))
        _show_problems(assembly.warnings)
        for name in loads(assembly):
            click.echo(f"loading {name}", err=True)
        rehearsal = Rehearsal(assembly, activities, seed, _record_path(errand, seed), wired=wired)
        result = rehearsal.run(_show_progress)
    except (LoadError, RecordError, PortError, ValueError) as error:
        raise Unusable(str(error)) from error
    _end_progress()
    if as_json:
        click.echo(json.dumps(asdict(result)))
    else:
        _show_result(result)
    return 0 if result.result == "done" else FAILED


def _overrides(settings: Sequence[str]) -> dict[str, Any]:
    from rover.files.yaml_source import read_text

    overrides = {}
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals or not name or not value:
            raise Unusable(f"--set {text}: write a setting and its value, such as --set near='20 cm'")
        overrides[name.strip()] = read_text(value, Path(), f"--set {name}").values
    return overrides


def _record_path(errand: Path, seed: int) -> Path:
    """Return a new file under ``runs/`` in the working folder."""
    folder = Path("runs")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise Unusable(f"cannot make the folder 'runs' for the run record: {error.strerror}") from error
    stem = f"{errand.stem}-seed{seed}-{datetime.now():%Y%m%d-%H%M%S}"
    names = (f"{stem}{'' if number == 0 else f'-{number}'}.sqlite" for number in range(1000))
    return next(path for path in map(folder.joinpath, names) if not path.exists())


_progress_shown = False


def _show_progress(robot_time_s: float, state: str, delivered: int) -> None:
    """Write the progress line over itself on a terminal; elsewhere stay silent."""
    global _progress_shown
    if sys.stderr.isatty():
        _progress_shown = True
        minutes, seconds = divmod(int(robot_time_s), 60)
        click.echo(f"\r{minutes:3d}:{seconds:02d}  delivered {delivered}  {state:<40.40}", err=True, nl=False)


def _end_progress() -> None:
    if _progress_shown:
        click.echo(err=True)


def _show_result(result: Any) -> None:
    of = f" of {result.objects}" if result.objects is not None else ""
    click.echo(f"{result.result} ({result.reason}): {result.delivered}{of} delivered in {result.robot_time_s:.0f} s")
    if result.finds:
        click.echo("find  kind        x (m)   y (m)   axis error (m)   95 % ellipse (m)")
    for number, find in enumerate(result.finds, 1):
        error = "unknown" if find.axis_error_m is None else f"{find.axis_error_m:.3f}"
        ellipse = f"{find.ellipse.major_m:.3f} x {find.ellipse.minor_m:.3f}"
        click.echo(f"{number:4d}  {find.kind:<10}{find.x_m:7.3f} {find.y_m:7.3f}   {error:>14}   {ellipse:>16}")
    if result.worst_axis_error_m is not None:
        click.echo(f"worst axis error {result.worst_axis_error_m:.3f} m")
    click.echo(f"record: {result.record}   (rover report {result.record})")


@commands.command()
@click.argument("record", type=click.Path(path_type=Path))
def report(record: Path) -> int:
    """Write the report of a run RECORD: floor plan, finds, deliveries, as one HTML file beside it."""
    from rover.record.reader import read
    from rover.record.run import RecordError
    from rover.report.page import write_report

    try:
        target = write_report(read(record), record.with_suffix(".html"))
    except RecordError as error:
        raise Unusable(str(error)) from error
    except OSError as error:
        raise Unusable(f"{error.filename}: {error.strerror}") from error
    click.echo(f"report: {target}")
    return 0


@commands.command()
@click.argument("robot", type=click.Path(path_type=Path))
def emulate(robot: Path) -> int:
    """Emulate the co-processor of a ROBOT file on a pseudo-terminal, wheels free in the air, until interrupted."""
    from rover.runtime.emulation import emulated

    with emulated(robot) as ports:
        for link, port in ports.items():
            click.echo(f"link '{link}': {port}")
        click.echo("emulating; Ctrl-C ends it")
        signal.pause()
    return 0
