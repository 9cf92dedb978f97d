"""The commands, thin: arguments in, sentences and exit codes out.

Exit codes of every command: 0 done, or as expected; 1 the errand failed or stopped, or a check found what it
looks for; 2 unusable input; 130 interrupted (SIGINT); 143 terminated (SIGTERM).
"""

import json
import signal
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
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
        from rover.readiness.computer import survey

        rows = survey()
        width = max(len(row.name) for row in rows)
        for row in rows:
            click.echo(f"{row.name:<{width}}  {row.finding}{'' if row.ready else '  <- ' + row.mend}")
        return 0 if all(row.ready or row.optional for row in rows) else FAILED
    from rover.readiness.files import check_file

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
@click.option("--rendered", is_flag=True, help="Draw what the camera sees, and find the objects in the pictures.")
@click.option(
    "--drivers",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder from which drivers and activities named in the files may be imported.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
def rehearse(
    errand: Path,
    seed: int,
    settings: tuple[str, ...],
    drivers: tuple[Path, ...],
    as_json: bool,
    **depth: bool,
) -> int:
    """Rehearse an ERRAND on the bench, without the robot."""
    from rover.devices.registry import LoadError, allow_folders
    from rover.link.port import PortError
    from rover.record.run import RecordError
    from rover.session.assembly import loads, with_user_activities
    from rover.session.on_bench import Rehearsal

    allow_folders(drivers)
    try:
        assembly, activities = with_user_activities(errand, _overrides(settings))
        _show_problems(assembly.warnings)
        for name in loads(assembly):
            click.echo(f"loading {name}", err=True)
        rehearsal = Rehearsal(assembly, activities, seed, _record_path(errand, seed), **depth)
        result = rehearsal.run(_show_progress)
    except (LoadError, RecordError, PortError, ValueError) as error:
        raise Unusable(str(error)) from error
    _end_progress()
    if as_json:
        click.echo(json.dumps(asdict(result)))
    else:
        _show_result(result)
    for remark in rehearsal.remarks:
        click.echo(remark, err=True)
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
    """Return a new file under ``runs/`` for a run of an errand."""
    return _new_record(f"{errand.stem}-seed{seed}")


def _new_record(name: str) -> Path:
    """Return a new file under ``runs/`` in the working folder."""
    folder = Path("runs")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise Unusable(f"cannot make the folder 'runs' for the run record: {error.strerror}") from error
    stem = f"{name}-{datetime.now():%Y%m%d-%H%M%S}"
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
@click.argument("errand", type=click.Path(path_type=Path))
@click.option("--enable-motion", is_flag=True, help="Enable motion without asking; only for one who sees the robot.")
@click.option(
    "--resume",
    "state",
    is_flag=False,
    flag_value="",
    metavar="[STATE]",
    help="Take an errand up again after a change of battery, from a saved state; by default from the newest in runs/.",
)
@click.option("--port", "ports", multiple=True, metavar="LINK=PATH", help="Another port for one of the robot's links.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the behaviour.")
@click.option("--set", "settings", multiple=True, metavar="KEY=VALUE", help="Override one of the behaviour's settings.")
@click.option(
    "--drivers",
    multiple=True,
    metavar="DIR",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder from which drivers and activities named in the files may be imported.",
)
@click.option("--guard", type=click.Path(path_type=Path), metavar="DIR", help="Folder of this robot's motor guard.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
def run(errand: Path, settings: tuple[str, ...], drivers: tuple[Path, ...], as_json: bool, **given: Any) -> int:
    """Carry an ERRAND out on the real robot. It stands still until motion is enabled."""
    from rover.devices.registry import LoadError, allow_folders
    from rover.record.run import RecordError
    from rover.session.assembly import loads, with_user_activities
    from rover.session.hardware import RunError
    from rover.session.on_robot import options_of, run_errand
    from rover.session.saved_state import StateError

    allow_folders(drivers)
    try:
        assembly, activities = with_user_activities(errand, _overrides(settings))
        _show_problems(assembly.warnings)
        for name in loads(assembly):
            click.echo(f"loading {name}", err=True)
        options = options_of(assembly, errand, _record_path(errand, given["seed"]), given)
        ended = run_errand(assembly, activities, options, _say, _show_progress)
    except (LoadError, RecordError, RunError, StateError) as error:
        _end_progress()
        raise Unusable(str(error)) from error
    _end_progress()
    if as_json:
        click.echo(json.dumps(asdict(ended.result)))
    else:
        _show_result(ended.result)
    for line in ended.remarks:
        click.echo(line, err=True)
    return ended.exit_code


def _say(line: str) -> None:
    """Write a line of its own, below the progress line if there is one."""
    global _progress_shown
    _end_progress()
    _progress_shown = False
    click.echo(line, err=True)


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
    from rover.commands.emulation import emulated

    with emulated(robot) as ports:
        for link, port in ports.items():
            click.echo(f"link '{link}': {port}")
        click.echo("emulating; Ctrl-C ends it")
        signal.pause()
    return 0


def _with_a_person(command: Any) -> Any:
    """Add what the commands have in common that a person beside the robot uses."""
    options = (
        click.argument("robot", type=click.Path(path_type=Path)),
        click.option(
            *("--port", "ports"),
            multiple=True,
            metavar="LINK=PATH",
            help="Take another port for a link, such as that of `rover emulate`.",
        ),
        click.option(
            *("--guard", "guard"),
            type=click.Path(path_type=Path, file_okay=False),
            help="Folder of the motor guard, one a robot; by default this user's.",
        ),
        click.option(
            "--drivers",
            multiple=True,
            metavar="DIR",
            type=click.Path(path_type=Path, exists=True, file_okay=False),
            help="Folder from which drivers named in the robot file may be imported.",
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command


def _robot_at_hand(robot: Path, ports: Sequence[str], drivers: Sequence[Path]) -> Any:
    """Return the loaded robot file with other ports for some of its links, and say which drivers it loads."""
    from rover.devices.registry import allow_folders
    from rover.files.load import load
    from rover.session.assembly import user_drivers
    from rover.session.hardware import RunError, with_ports

    allow_folders(drivers)
    pairs = [text.partition("=") for text in ports]
    if wrong := next((text for text, (_, _, path) in zip(ports, pairs, strict=True) if not path), None):
        raise Unusable(f"--port {wrong}: write a link and its port, such as --port main=/dev/ttyUSB1")
    try:
        loaded = load(robot, "robot")
        loaded = replace(loaded, model=with_ports(loaded.model, {name: path for name, _, path in pairs}))
    except RunError as error:
        raise Unusable(str(error)) from error
    for name in user_drivers(loaded.model):
        click.echo(f"loading {name}", err=True)
    return loaded


CHECK_NAMES = ("link", "battery", "stop_input", "motors", "gripper", "heading", "turn", "range", "camera")


@commands.command(name="bring-up")
@_with_a_person
@click.option("--only", multiple=True, type=click.Choice(CHECK_NAMES), help="Make this check alone; may be repeated.")
@click.option(
    "--yes-to-all", "yes", is_flag=True, help="The wheels are off the ground; answers come from the encoders alone."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object on standard output.")
def bring_up(
    robot: Path,
    ports: tuple[str, ...],
    guard: Path | None,
    drivers: tuple[Path, ...],
    only: tuple[str, ...],
    yes: bool,
    as_json: bool,
) -> int:
    """Bring a ROBOT up: each part by itself, wheels off the ground, saying which line of its file to change."""
    from rover.devices.registry import LoadError
    from rover.readiness import bring_up as walk
    from rover.readiness.finding import told
    from rover.readiness.person import NobodyAnswersError, Person
    from rover.record.run import RecordError

    loaded = _robot_at_hand(robot, ports, drivers)
    person = Person(0, lambda text: click.echo(text, err=True, nl=False))
    names = walk.chosen(only)
    try:
        if any(walk.CHECKS[name].moves for name in names) and not yes and not walk.confirm_stand(person):
            raise Unusable("nothing was moved; put the robot on a stand first")
        result = walk.bring_up(
            loaded,
            (guard, _new_record(f"{robot.stem}-bring-up")),
            names,
            None if yes or as_json else person,
            lambda finding: None if as_json else click.echo(f"{told(finding)}\n"),
        )
    except (NobodyAnswersError, LoadError, RecordError, ValueError, OSError) as error:
        raise Unusable(str(error)) from error
    _show_bring_up(result, as_json)
    return 0 if result.as_expected else FAILED


def _show_bring_up(result: Any, as_json: bool) -> None:
    if as_json:
        findings = [finding.as_json() for finding in result.findings]
        click.echo(json.dumps(vars(result) | {"findings": findings}))
        return
    odd = [finding.check for finding in result.findings if finding.verdict.value == "not as expected"]
    click.echo(f"not as expected: {', '.join(odd)}" if odd else "nothing that is not as expected")
    click.echo(f"record: {result.record}")


@commands.command()
@_with_a_person
def jog(robot: Path, ports: tuple[str, ...], guard: Path | None, drivers: tuple[Path, ...]) -> int:
    """Drive a ROBOT by hand: it moves only while a key is held. Keys: arrows or i k j l, space stops, q ends."""
    from rover.devices.registry import LoadError
    from rover.record.run import RecordError
    from rover.session.by_hand import hand_session
    from rover.session.jog import HELP, Jog, cropped, keys_at_once

    if not sys.stdin.isatty():
        raise Unusable("rover jog drives by keys that are held down, so standard input has to be a terminal")
    loaded = _robot_at_hand(robot, ports, drivers)
    record = _new_record(f"{robot.stem}-jog")
    try:
        with hand_session(loaded, guard, record, "Jog") as at, keys_at_once(0):
            click.echo(HELP)
            Jog(at, 0, lambda line: click.echo(f"\r{cropped(line)}\x1b[K", nl=False)).run()
    except (LoadError, RecordError, ValueError, OSError) as error:
        raise Unusable(str(error)) from error
    click.echo(f"\nrecord: {record}")
    return 0


@commands.command()
@_with_a_person
@click.argument("what", type=click.Choice(("drive", "heading", "range", "gripper", "camera", "latency")))
@click.option(
    "--pictures",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="For 'camera': a folder of pictures with a regions.yaml, instead of the live camera.",
)
@click.option("--bench", type=click.Path(path_type=Path), help="Practise on this bench file instead of the robot.")
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the bench.")
@click.option("--side", default="1 m", show_default=True, metavar="LENGTH", help="Side of the squares of 'drive'.")
@click.option("--write", is_flag=True, help="Write the robot file without asking.")
def calibrate(robot: Path, what: str, side: str, write: bool, **given: Any) -> int:
    """Calibrate a ROBOT's drive, heading, range, gripper, camera or its latency, and offer to correct its file."""
    from rover.calibrate import session
    from rover.calibrate.findings import CalibrationError
    from rover.devices.registry import LoadError
    from rover.quantities import LENGTH, parse_as
    from rover.record.run import RecordError

    loaded = _robot_at_hand(robot, given["ports"], given["drivers"])
    try:
        order = session.Order(what, parse_as(side, LENGTH))
        path = session.new_path(order, robot)
        outcome = _calibrated(order, loaded, path, given)
        kept = session.keep(outcome, order, path)
    except (CalibrationError, LoadError, RecordError, ValueError, OSError) as error:
        raise Unusable(f"{error}\nnothing was written") from error
    for line in (*session.table(outcome.found.changes), *outcome.found.lines, *outcome.truth):
        click.echo(line)
    click.echo(f"record: {', '.join(map(str, kept))}")
    if len(kept) == 1 and outcome.found.plots:
        click.echo("no picture: pip install 'rover[report]' brings what draws it")
    if outcome.found.changes:
        _offer_to_write(robot, outcome, write)
    return 0


def _calibrated(order: Any, loaded: Any, path: Path, given: Mapping[str, Any]) -> Any:
    """Return what a calibration found, on the bench that was named or on the robot."""
    from rover.calibrate import session

    if order.what == "camera":
        return session.CalibrationOutcome(_camera_findings(loaded.model, path, given["pictures"]), "on the robot")
    if given["bench"] is not None:
        from rover.files.load import load

        return session.practise(order, loaded.model, load(given["bench"], "bench").model, given["seed"])
    from rover.calibrate.gripper import widened
    from rover.calibrate.onboard import on_the_robot

    driven = replace(loaded, model=widened(loaded.model)) if order.what == "gripper" else loaded
    with on_the_robot(driven, given["guard"], path.with_suffix(".sqlite"), click.echo) as (drivetrain, person):
        return session.CalibrationOutcome(session.calibrate(order, drivetrain, person, loaded.model), "on the robot")


def _camera_findings(robot: Any, path: Path, pictures: Path | None) -> Any:
    """Return what the pictures of a folder tell, or those that a person now helps to take."""
    from functools import partial

    from rover.calibrate import camera
    from rover.calibrate.looking import live_frame

    if pictures is None:
        grab = partial(live_frame, robot)
        pictures = camera.take_pictures(robot, grab, _wait_for_enter, path.with_suffix(".pictures"))
    return camera.findings(pictures, robot, path.with_suffix(".masks"))


def _wait_for_enter(what: str) -> None:
    click.prompt(f"{what}; then press Enter", default="", show_default=False, prompt_suffix=" ")


def _offer_to_write(robot: Path, outcome: Any, write: bool) -> None:
    """Write the robot file when that was asked for or is typed now."""
    from rover.calibrate import robot_file

    if not write:
        if outcome.host != "on the robot":
            click.echo("these are the values of the bench's robot, not of a real one")
        try:
            write = click.prompt(f"put the values into {robot}? Type yes", default="no", show_default=True) == "yes"
        except click.Abort:
            click.echo()
    if not write:
        click.echo(f"{robot} is as it was")
        return
    try:
        backup = robot_file.write(robot, outcome.found.changes)
    except (ValueError, OSError) as error:
        raise Unusable(f"{error}\n{robot} is as it was") from error
    click.echo(f"{robot} is written; as it was: {backup.name}")


@commands.command()
@click.argument("source", type=click.Path(path_type=Path))
@click.option("--robot", type=click.Path(path_type=Path), help="Robot file, for its camera and colours.")
@click.option("--errand", type=click.Path(path_type=Path), help="Errand file, for its kinds and its robot.")
@click.option(
    "--into",
    type=click.Path(path_type=Path, file_okay=False),
    default="looks",
    show_default=True,
    help="Folder to fill.",
)
def look(source: Path, robot: Path | None, errand: Path | None, into: Path) -> int:
    """Say what the vision sees in a SOURCE (a picture, a folder of them, or a camera's device), and draw it."""
    from rover.calibrate import looking
    from rover.devices.kernel_files import DeviceError

    try:
        machine, kinds = looking.files_for(robot, errand)
        for name, image in looking.pictures_at(source, looking.camera_of(machine)):
            one = looking.look(name, image, machine, kinds)
            drawn = looking.keep(one, into)
            click.echo("\n".join((*one.lines, *([f"  drawn: {drawn}"] if drawn else []))))
    except (DeviceError, ValueError, OSError, ImportError) as error:
        raise Unusable(looking.explained(error)) from error
    return 0
