"""`rover trials`."""

import json
import os
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click

from rover.commands import options
from rover.commands.given_files import say_loading
from rover.commands.main import FAILED, INTERRUPTED
from rover.commands.output import TimeLeft, writing
from rover.devices.registry import allow_folders
from rover.errors import UserError
from rover.files.given import Given
from rover.files.load import load
from rover.files.yaml_source import read_text
from rover.session.assembly import loads_in_rehearsal
from rover.session.program import program_digest
from rover.session.without import SAFEGUARDS
from rover.trials.asked import asked_by
from rover.trials.campaign import Campaign, Variant, changed_since, command_of, name_of, run_trial_twice
from rover.trials.cluster import on_cluster
from rover.trials.page import write_summary
from rover.trials.side_by_side import SideBySide
from rover.trials.store import CampaignFile
from rover.trials.summary import summarise
from rover.trials.trial import Trial, TrialRow, lost_row, run_trial
from rover.trials.words import lines, plain

CHANGED = "trials of both would not go together. Those until then are kept; begin anew by the same command"
LEFT_OUT = [name for name in SAFEGUARDS if name]


@click.command()
@options.AN_ERRAND
@click.option("--count", type=options.WholeNumber(1), default=100, show_default=True, help="How many seeds to try.")
@click.option("--seed", type=options.WholeNumber(0, 10**12), default=1, show_default=True, help="The first of them.")
@click.option("--ranges", type=options.A_PATH, metavar="FILE", help="Draw values for each seed as this file says.")
@click.option("--vary", metavar="KEY=A,B,C", help="Try every seed with each of these values.")
@click.option("--against", type=options.A_PATH, metavar="OTHER", help="Try every seed with this errand file as well.")
@click.option(
    "--without",
    multiple=True,
    type=click.Choice(LEFT_OUT),
    help="Try every seed without a safeguard as well, to see what that is worth.",
)
@options.GIVEN
@options.FAULTS
@click.option("--jobs", type=options.WholeNumber(1), help="Processes side by side; one for each core by default.")
@click.option("--cluster", metavar="ADDRESS", help="Address of a Dask scheduler, whose workers do the trials.")
@click.option("--twice", is_flag=True, help="Rehearse each trial two times, and see that both decide the same.")
@click.option("--into", type=options.A_PATH, metavar="FILE", help="File of the rows; by default one in runs/.")
@click.option(
    "--records",
    type=click.Choice(["failed", "all", "none"]),
    default="failed",
    show_default=True,
    help="Of which trials the run records are kept, in a folder beside that file.",
)
@options.DRIVERS
@options.JSON
def command(errand: Path, as_json: bool, **chosen: Any) -> int:
    """Try an ERRAND over many seeds: how often it succeeds, and why not.

    A campaign that was interrupted goes on where it was, by the same command.
    """
    campaign = Campaign(
        _variants(errand, chosen["vary"], chosen["against"], chosen["without"]),
        chosen["count"],
        chosen["seed"],
        Given(chosen["values"], chosen["faults"]),
        load(chosen["ranges"], "ranges").model if chosen["ranges"] else None,
        tuple(folder.resolve() for folder in options.folders_of_drivers()),
    )
    assemblies = campaign.check()
    for warning in dict.fromkeys(str(one) for assembly in assemblies for one in assembly.warnings):
        click.echo(warning, err=True)
    say_loading(dict.fromkeys(name for one in assemblies for name in loads_in_rehearsal(one)))
    plan = campaign.plan(assemblies) | {"times": "2" if chosen["twice"] else "1"}
    path = chosen["into"] or Path("runs") / f"trials-{errand.stem}-{name_of(plan)}.sqlite"
    with CampaignFile(path, plan) as file:
        is_interrupted = _carry_out(
            campaign, file, chosen, lambda: not changed_since(plan, assemblies, campaign.folders)
        )
        commands = file.commands()
        rows = list(file.rows())
    asked = asked_by(campaign, assemblies[0].errand.errand)
    summary = summarise(rows, asked, lambda row: commands[row.number, row.variant])
    with writing():
        page = write_summary(summary, beside(path, ".html"))
    if as_json:
        click.echo(json.dumps(plain(summary)))
    else:
        click.echo("\n".join(lines(summary)))
        click.echo(f"\nrows: {path}   page: {page}")
    if is_interrupted:
        click.echo("interrupted; the same command goes on from here", err=True)
        return INTERRUPTED
    return FAILED if any(row.result == "error" for row in rows) else 0


def _variants(errand: Path, vary: str | None, against: Path | None, without: tuple[str, ...]) -> tuple[Variant, ...]:
    """Return the ways in which every seed is tried.

    Raises:
        UserError: more than one of the options is there, or one has mistakes.
    """
    if sum(map(bool, (vary, against, without))) > 1:
        raise UserError("--vary, --against and --without: one of them at a time")
    if vary is not None:
        return tuple(Variant(f"{key}={text}", errand, {key: value}) for key, text, value in _varied(vary))
    if against is not None:
        if against.resolve() == errand.resolve():
            raise UserError(f"--against {against}: this is the errand itself; name another file")
        return Variant(str(errand), errand), Variant(str(against), against)
    left_out = (Variant(f"without {name}", errand, without=name) for name in dict.fromkeys(without))
    return (Variant("as it is", errand), *left_out) if without else (Variant("", errand),)


def _varied(text: str) -> list[tuple[str, str, Any]]:
    """Return (key, value as written, value) for each value of ``KEY=A,B,C``; commas inside brackets part nothing."""
    key, _, values = text.partition("=")
    found = read_text(f"[{values}]", Path(), f"--vary {key}").values if values.strip() else []
    if not (key.strip() and len(found) > 1):
        raise UserError(f"--vary {text}: write a key and two values or more, such as --vary near='20 cm,25 cm'")
    if len({str(value) for value in found}) < len(found):
        raise UserError(f"--vary {text}: the same value stands there twice")
    return [(key.strip(), str(value), value) for value in found]


def beside(rows: Path, ending: str) -> Path:
    """Return what stands beside the file of the rows."""
    return rows.with_name(rows.name.removesuffix(".sqlite") + ending)


def prepared(folders: tuple[Path, ...]) -> str:
    """Let own code be imported from folders, where trials are done; return the hash of the program there."""
    allow_folders(folders)
    return program_digest(folders)


def _carry_out(
    campaign: Campaign, file: CampaignFile, chosen: dict[str, Any], is_unchanged: Callable[[], bool]
) -> bool:
    """Do the trials that the file has no rows of yet, and tell whether a person interrupted that.

    Raises:
        UserError: the files or the program are not the same any more; what came before that is kept.
    """
    done = file.done()
    due = (trial for trial in campaign.trials() if (trial.number, trial.variant) not in done)
    if chosen["records"] != "none":
        folder = beside(file.path, "-records").resolve()
        due = (_with_record(trial, campaign, folder, chosen["records"]) for trial in due)
    results, succeeded = _results(due, campaign, chosen), file.successes()
    with closing(TimeLeft(len(done), campaign.size)) as progress:
        try:
            for trial, row in results:
                if not is_unchanged():
                    raise UserError(f"the errand's files, or the program, were changed meanwhile; {CHANGED}")
                file.add(row, command_of(trial, campaign.folders))
                succeeded += row.is_success
                progress.show(f"{succeeded} succeeded")
        except KeyboardInterrupt:
            return True
        finally:
            results.close()
    return False


def _with_record(trial: Trial, campaign: Campaign, folder: Path, which: str) -> Trial:
    """Return a trial whose run record is kept in a folder."""
    variants = [one.name for one in campaign.variants]
    variant = f"-{variants.index(trial.variant) + 1}" if len(variants) > 1 else ""
    return replace(trial, record=folder / f"trial-{trial.number}{variant}.sqlite", keeps_all=which == "all")


def _results(
    due: Iterator[Trial], campaign: Campaign, chosen: dict[str, Any]
) -> Generator[tuple[Trial, TrialRow], None, None]:
    """Have the trials done where a person wants them done."""
    work, prepare = run_trial_twice if chosen["twice"] else run_trial, partial(prepared, campaign.folders)
    if chosen["cluster"]:
        return on_cluster(chosen["cluster"], work, due, lost_row, prepare)
    return SideBySide(work, due, lost_row, prepare).run(chosen["jobs"] or os.cpu_count() or 1)
