"""`rover survey`."""

import os
import sys
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import click

from rover.commands import options
from rover.commands.given_files import robot_at_hand
from rover.commands.output import new_record, person_at_terminal, show_over_itself, writing
from rover.errors import UserError
from rover.files.load import Loaded, load
from rover.files.problems import FileProblems
from rover.files.robot import Robot
from rover.files.types import NAME_PATTERN
from rover.geometry import Pose
from rover.readiness.files import check_file
from rover.readiness.tried import see_that_all_are_tried
from rover.session.by_hand import manual_session
from rover.session.jog import Jog, keys_at_once
from rover.session.jog_keys import HELP as KEYS
from rover.survey.by_hand import HELP, Surveyor
from rover.survey.errand_text import field_block, new_errand, with_field
from rover.survey.marks import Floor
from rover.survey.tape import typed_in


@click.command()
@options.A_ROBOT
@click.option(
    "--errand",
    type=options.PathType(),
    required=True,
    metavar="FILE",
    help="Errand file to write, or to put the field into.",
)
@click.option("--type-in", is_flag=True, help="Drive nowhere: ask for what a tape measured.")
@options.PORTS
@options.GUARD
@options.DRIVERS
def command(robot: Path, errand: Path, type_in: bool, ports: dict[str, str], guard: Path | None) -> int:
    """Measure a floor by driving a ROBOT over it by hand, and write it into an errand FILE.

    Corners, walls, tray, marker and places are marked by capital letters; the rest of the keys drive, as in jog.
    """
    if errand.suffix != ".yaml":
        raise UserError(f"--errand {errand}: the file's name ends with .yaml")
    if type_in:
        loaded: Loaded[Robot] = load(robot, "robot")
        floor, start = typed_in(person_at_terminal("type the measures in at a terminal, or on standard input"))
    else:
        loaded = robot_at_hand(robot, ports)
        floor, start = _driven(robot, loaded, guard)
    text = _text(errand, field_block(floor, start, f"{date.today():%d %B %Y}"), robot, loaded.model)
    _write(errand, text)
    return _checked(errand)


def _driven(file: Path, loaded: Loaded[Robot], guard: Path | None) -> tuple[Floor, Pose]:
    """Return the floor that a person drives over, and where they began."""
    if not sys.stdin.isatty():
        raise UserError("rover survey drives by keys that are held down; at no terminal, take --type-in")
    see_that_all_are_tried(loaded)
    record = new_record(f"{file.stem}-survey")
    surveyor = Surveyor(loaded.model, lambda line: show_over_itself(line, True))
    with manual_session(loaded, guard, record, "Survey") as session, keys_at_once(0):
        click.echo(f"{KEYS}\n{HELP}")
        Jog(session, 0, show_over_itself, onlooker=surveyor).run()
    click.echo(f"\nrecord: {record}")
    floor = surveyor.floor()
    if floor.places:
        floor = floor._replace(places=_called(floor.places))
    return floor, surveyor.start


def _called(places: Mapping[str, tuple[Pose, float]]) -> dict[str, tuple[Pose, float]]:
    """Return places by the names that the person gives them."""
    person, called = person_at_terminal("answer at the terminal"), dict[str, tuple[Pose, float]]()
    for name, place in places.items():
        asked = f"What is {name} called, at x {place[0].x:.2f} m, y {place[0].y:.2f} m? [{name}]"
        while (given := person.ask(asked) or name) in called or NAME_PATTERN.fullmatch(given) is None:
            person.tell("another name is due: lower case letters, digits and underscores, a letter first")
        called[given] = place
    return called


def _text(errand: Path, block: str, robot: Path, model: Robot) -> str:
    if errand.exists():
        with writing():
            return with_field(errand.read_text("utf-8"), block, errand)
    return new_errand(block, model, os.path.relpath(robot.resolve(), errand.resolve().parent))


def _write(errand: Path, text: str) -> None:
    """Write the errand; what was there stays beside it."""
    with writing():
        if errand.exists():
            backup = errand.with_name(f"{errand.name}.bak")
            backup.write_bytes(errand.read_bytes())
            click.echo(f"as it was: {backup}")
        errand.parent.mkdir(parents=True, exist_ok=True)
        errand.write_text(text, "utf-8")
    click.echo(f"written: {errand}")


def _checked(errand: Path) -> int:
    """Say whether the errand can work as it now stands."""
    try:
        report = check_file(errand)
    except FileProblems as error:
        error.add_note(f"{errand} is written; this is left to put right in it")
        raise
    for warning in report.warnings:
        click.echo(str(warning), err=True)
    click.echo(f"rover check {errand}: nothing wrong with it")
    return 0
