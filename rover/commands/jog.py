"""`rover jog`."""

import sys
from pathlib import Path

import click

from rover.commands import options
from rover.commands.given_files import robot_at_hand
from rover.commands.output import new_record
from rover.commands.true_places import offer_latest
from rover.errors import UserError
from rover.readiness.tried import see_that_all_are_tried
from rover.session.by_hand import manual_session
from rover.session.jog import HELP, Jog, cropped, keys_at_once


@click.command()
@options.A_ROBOT
@options.PORTS
@options.GUARD
@options.DRIVERS
def command(robot: Path, ports: dict[str, str], guard: Path | None) -> int:
    """Drive a ROBOT by hand: it moves while an arrow (or i k j l) is held; s, space, Enter stop; q ends."""
    if not sys.stdin.isatty():
        raise UserError("rover jog drives by keys that are held down, so standard input has to be a terminal")
    loaded = robot_at_hand(robot, ports)
    see_that_all_are_tried(loaded)
    record = new_record(f"{robot.stem}-jog")
    with manual_session(loaded, guard, record, "Jog") as session, keys_at_once(0):
        click.echo(HELP)
        Jog(session, 0, lambda line: click.echo(f"\r{cropped(line)}\x1b[K", nl=False)).run()
    click.echo(f"\nrecord: {record}")
    offer_latest(record.parent)
    return 0
