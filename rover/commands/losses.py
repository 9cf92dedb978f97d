"""`rover losses`."""

import json
import os
from contextlib import closing
from functools import partial
from pathlib import Path

import click

from rover.commands import options
from rover.commands.given_files import say_loading
from rover.commands.main import FAILED, INTERRUPTED
from rover.commands.output import TimeLeft, new_record, writing
from rover.devices.registry import allow_folders
from rover.files.given import Given
from rover.session.assembly import Assembly, loads_in_rehearsal, with_user_activities
from rover.trials.campaign import command_of
from rover.trials.losses import Cell, Matrix, Outcome, cells, chosen, losable, reached
from rover.trials.losses_page import write_losses
from rover.trials.losses_text import as_json as plain
from rover.trials.losses_text import lines
from rover.trials.observe import given_up, rehearse
from rover.trials.side_by_side import SideBySide
from rover.trials.trial import Trial
from rover.trials.verdict import WRONG, Observed, judge


@click.command()
@options.AN_ERRAND
@options.seed("bench and behaviour")
@click.option("--state", "states", multiple=True, metavar="STATE", help="Only on entering this state, or those in it.")
@click.option("--device", "devices", multiple=True, metavar="DEVICE", help="Only this device, or 'link'.")
@options.GIVEN
@options.FAULTS
@click.option("--jobs", type=options.WholeNumber(1), help="Processes side by side; one for each core by default.")
@options.DRIVERS
@options.JSON
def command(
    errand: Path,
    seed: int,
    states: tuple[str, ...],
    devices: tuple[str, ...],
    values: dict[str, object],
    faults: tuple[str, ...],
    jobs: int | None,
    as_json: bool,
) -> int:
    """Lose every device in every state of an ERRAND, each way, for 3 s and for good.

    Each loss is a rehearsal, judged: done, ended safely, stopped safely, or WRONG. Exit code 1 if any is WRONG.
    """
    base = Cell(Trial(0, "", errand, seed, Given(values, faults)))
    assembly, _ = with_user_activities(errand, {}, base.trial.given)
    for warning in assembly.warnings:
        click.echo(str(warning), err=True)
    say_loading(loads_in_rehearsal(assembly))
    found = losable(assembly)
    ways = {name: found.ways[name] for name in chosen(devices, list(found.ways), "device")}
    _known(states, assembly)
    [(_, seen)] = _side_by_side([base]).run(1)
    all_reached = reached(seen.entered_s, assembly)
    at_s = {state: all_reached[state] for state in chosen(states, list(all_reached), "state")}
    planned = list(cells(base, at_s, ways))
    outcomes, is_interrupted = _carry_out(planned, jobs or os.cpu_count() or 1)
    title = assembly.errand.errand
    matrix = Matrix(title, str(errand), seed, _outcome(base, seen), at_s, ways, found.left_out, outcomes)
    _show(matrix, as_json=as_json)
    if is_interrupted:
        return INTERRUPTED
    return FAILED if matrix.wrong else 0


def _known(states: tuple[str, ...], assembly: Assembly) -> None:
    """Refuse a state that the behaviour lacks, before anything is rehearsed."""
    chosen(states, list(assembly.graph.states), "state")


def _side_by_side(tasks: list[Cell]) -> SideBySide[Cell, Observed]:
    return SideBySide(rehearse, tasks, given_up, partial(allow_folders, options.folders_of_drivers()))


def _carry_out(planned: list[Cell], jobs: int) -> tuple[tuple[Outcome, ...], bool]:
    """Rehearse, and return what is there, in the order of the plan, and whether a person interrupted it."""
    done: dict[int, Outcome] = {}
    wrong, is_interrupted = 0, False
    results = _side_by_side(planned).run(jobs)
    with closing(TimeLeft(0, len(planned))) as progress, closing(results):
        try:
            for cell, seen in results:
                one = done[cell.trial.number] = _outcome(cell, seen)
                wrong += one.verdict.outcome == WRONG
                progress.show(f"{wrong} WRONG")
        except KeyboardInterrupt:
            is_interrupted = True
    return tuple(done[number] for number in sorted(done)), is_interrupted


def _outcome(cell: Cell, seen: Observed) -> Outcome:
    return Outcome(cell.loss, seen, judge(seen), command_of(cell.trial, options.folders_of_drivers()))


def _show(matrix: Matrix, *, as_json: bool) -> None:
    page = new_record(f"{Path(matrix.errand).stem}-losses-seed{matrix.seed}", ".html")
    with writing():
        write_losses(matrix, page)
    if as_json:
        click.echo(json.dumps({**plain(matrix), "page": str(page)}))
        return
    for line in lines(matrix):
        click.echo(line)
    click.echo(f"page: {page}")
