"""`rover jog`."""

import sys
from contextlib import ExitStack
from pathlib import Path

import click

from rover.commands import options
from rover.commands.given_files import robot_at_hand
from rover.commands.output import new_record, show_over_itself
from rover.commands.paging import page_by_hand
from rover.commands.true_places import offer_latest
from rover.errors import UserError
from rover.readiness.tried import see_that_all_are_tried
from rover.session.by_hand import guard_folder_of, manual_session
from rover.session.jog import Jog, keys_at_once
from rover.session.jog_keys import HELP

NO_TERMINAL = (
    "rover jog drives by keys that are held down, so standard input has to be a terminal; or drive at a page: --page"
)


@click.command()
@options.A_ROBOT
@options.PORTS
@options.GUARD
@options.DRIVERS
@options.PAGE
def command(robot: Path, ports: dict[str, str], guard: Path | None, page: tuple[str, int] | None) -> int:
    """Drive a ROBOT by hand: it moves while an arrow, or one of the letters round s, is held.

    \b
       w        w forwards, x backwards, a left, d right, or the arrows
     a s d      s, space and Enter stop; r resets, g permits motion
       x        + and - set the speed; q ends
    """
    has_terminal = sys.stdin.isatty()
    if not has_terminal and page is None:
        raise UserError(NO_TERMINAL)
    loaded = robot_at_hand(robot, ports)
    see_that_all_are_tried(loaded)
    record = new_record(f"{robot.stem}-jog")
    with ExitStack() as stack:
        guard = guard_folder_of(guard)
        shown = stack.enter_context(page_by_hand(page, "jog", guard, may_read=loaded.model.page.read_without_token))
        session = stack.enter_context(manual_session(loaded, guard, record, "Jog", shown))
        if has_terminal:
            stack.enter_context(keys_at_once(0))
            click.echo(HELP)
        show = show_over_itself if has_terminal else _show_nowhere
        Jog(session, 0 if has_terminal else None, show, shown).run()
    click.echo(f"\nrecord: {record}")
    offer_latest(record.parent)
    return 0


def _show_nowhere(line: str, stays: bool) -> None:
    """Show nothing: only the page does."""
