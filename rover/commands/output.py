"""What several commands say, and where they keep records."""

import json
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime, timedelta
from pathlib import Path

import click

from rover.diagnosis.words import counted
from rover.errors import UserError
from rover.readiness.person import Person
from rover.record.run import TrueFigures
from rover.session.from_outside import Outcome
from rover.session.result import Result

LINE = 79
"""Letters of a line that is written over itself: one more than this would begin a new line on a narrow terminal."""


def progress_line(minutes: int, seconds: int, delivered: int, state: str) -> str:
    """Return the line of a run's progress, as wide as it may be; of what does not fit the end is left out."""
    line = f"{minutes:3d}:{seconds:02d}  delivered {delivered}  {' '.join(state.split())}"
    return f"{line:<{LINE}}" if len(line) <= LINE else f"{line[: LINE - 1]}\N{HORIZONTAL ELLIPSIS}"


class ProgressLine:
    """The line of a run's progress, on a terminal written over itself; elsewhere silent."""

    def __init__(self) -> None:
        self._is_open = False

    def show(self, robot_time_s: float, state: str, delivered: int) -> None:
        """Write it."""
        if sys.stderr.isatty():
            self._is_open = True
            minutes, seconds = divmod(int(robot_time_s), 60)
            click.echo(f"\r{progress_line(minutes, seconds, delivered, state)}", err=True, nl=False)

    def say(self, line: str) -> None:
        """Write another line, below it."""
        self.close()
        click.echo(line, err=True)

    def close(self) -> None:
        """Go on below it, if there is one."""
        if self._is_open:
            self._is_open = False
            click.echo(err=True)


class TimeLeft:
    """The line of how far many equal tasks are, on a terminal written over itself; elsewhere silent."""

    def __init__(self, done: int, of: int) -> None:
        self._before, self._done, self._of = done, done, of
        self._began_s = time.monotonic()

    def show(self, what: str) -> None:
        """Count one task more as done, and write the line; ``what`` is said besides."""
        self._done += 1
        if sys.stderr.isatty():
            each_s = (time.monotonic() - self._began_s) / (self._done - self._before)
            left = timedelta(seconds=round(each_s * (self._of - self._done)))
            click.echo(f"\r{self._done} of {self._of}, {what}, {left} left \x1b[K", err=True, nl=False)

    def close(self) -> None:
        """Go on below the line, if there is one."""
        if sys.stderr.isatty() and self._done > self._before:
            click.echo(err=True)


def show_over_itself(line: str, stays: bool) -> None:
    """Write a line over the one before; one that stays is gone on below."""
    click.echo(f"\r{line}\x1b[K", nl=stays)


def show_result(result: Result, remarks: Iterable[str], *, as_json: bool) -> None:
    """Write how a run ended and what it found, for a person or as JSON; remarks go to standard error."""
    if as_json:
        click.echo(json.dumps(asdict(result)))
    else:
        _show_to_person(result)
    for remark in remarks:
        click.echo(remark, err=True)


EXPLAINED = (
    "(axis error: by how much x or y is off, the larger of the two, where the truth is known; 95 % ellipse: half its "
    "length x half its width, drawn so that 19 of 20 objects should stand within theirs)"
)
"""What the table of finds says, for who sees it for the first time."""


def _show_to_person(result: Result) -> None:
    click.echo(f"{result.result} ({result.reason}){_delivered(result)} in {result.robot_time_s:.0f} s")
    if to_look_after := _account(result):
        click.echo(f"by the robot's own account: {', '.join(to_look_after)}")
    for one in result.not_in:
        click.echo(f"not in: object {one.number}, {one.kind} at x {one.x:.2f} m, y {one.y:.2f} m: {one.why_not_in}")
    for noted in result.noted:
        click.echo(f"noted: {noted}")
    for device in result.gave_up:
        click.echo(f"gave up: {device}")
    if result.truth is not None and (worth_saying := _in_words(result.truth, result)):
        click.echo(f"what truly happened: {', '.join(worth_saying)}")
    if result.finds:
        click.echo("find  kind        x (m)   y (m)   axis error (m)   95 % ellipse, semi-axes (m)")
    for number, find in enumerate(result.finds, 1):
        unknown = "nothing held" if find.held_nothing else "unknown"
        error = unknown if find.axis_error_m is None else f"{find.axis_error_m:.3f}"
        ellipse = f"{find.ellipse.major_m:.3f} x {find.ellipse.minor_m:.3f}"
        click.echo(f"{number:4d}  {find.kind:<10}{find.x_m:7.3f} {find.y_m:7.3f}   {error:>14}   {ellipse:>27}")
    if result.worst_axis_error_m is not None:
        click.echo(f"worst axis error {result.worst_axis_error_m:.3f} m")
    if result.finds:
        click.echo(EXPLAINED)
    click.echo(f"record: {result.record}   (rover {'report' if result.is_clean else 'show'} {result.record})")


def _delivered(result: Result) -> str:
    """Return how many objects were delivered, of those expected, else of those there are; '' with nothing to bring."""
    if result.left is None and not result.delivered:
        return ""
    of = "" if result.objects is None else f" of {result.objects}"
    is_other = result.truth is not None and result.objects not in (None, result.truth.objects)
    return f": {result.delivered}{of}{' expected' if is_other else ''} delivered"


def _account(result: Result) -> list[str]:
    """Return what a person would want to know of the ledger's account, nothing of what went well."""
    said = {
        f"{result.delivered - result.seen} delivered and not seen in the tray": result.delivered > result.seen,
        f"{result.believed} set down and only believed to be there: go and look": result.believed,
        f"{result.left} left": result.left,
        f"{result.unseen:.0%} of the field could not be looked at": result.unseen,
    }
    return [text for text, is_so in said.items() if is_so]


def _in_words(truth: TrueFigures, result: Result) -> list[str]:
    """Return what a person would want to know of the truth, nothing of what went well."""
    said = {
        f"{truth.objects} stood there to be fetched": truth.objects != result.objects,
        f"{truth.delivered} in the tray, not {result.delivered}": truth.delivered != result.delivered,
        counted(truth.empty_finds, "find") + " with nothing in the jaws": truth.empty_finds,
        counted(truth.empty_deliveries, "delivery", "deliveries") + " of nothing": truth.empty_deliveries,
        counted(truth.let_go_outside, "object") + " let go of outside the tray": truth.let_go_outside,
        counted(truth.fallen, "object") + " knocked over": truth.fallen,
        counted(truth.bumps, "bump") + f" at up to {truth.fastest_bump_m_s:.2f} m/s": truth.bumps,
        counted(truth.touched, "object") + " touched and not gripped": truth.touched,
        counted(truth.touched_in_tray, "object") + " touched in the tray": truth.touched_in_tray,
        f"{truth.outside_s:.1f} s outside the field, by up to {truth.farthest_outside_m:.3f} m": truth.outside_s,
    }
    return [text for text, happened in said.items() if happened]


def show_outcomes(outcomes: Sequence[Outcome]) -> int:
    """Write a line for each guard that was spoken to, and return the exit code."""
    for folder, line, is_error in outcomes:
        click.echo(f"{folder}: {line}" if len(outcomes) > 1 else line, err=is_error)
    return int(any(one.is_error for one in outcomes))


def new_record(name: str, ending: str = ".sqlite") -> Path:
    """Return a new file under ``runs/`` in the working folder.

    Raises:
        UserError: the folder cannot be made.
    """
    folder = Path("runs")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UserError(f"cannot make the folder 'runs' for the run record: {error.strerror}") from error
    stem = f"{name}-{datetime.now():%Y%m%d-%H%M%S}"
    names = (f"{stem}{'' if number == 0 else f'-{number}'}{ending}" for number in range(1000))
    return next(path for path in map(folder.joinpath, names) if not path.exists())


@contextmanager
def writing() -> Iterator[None]:
    """Say which file cannot be written, and why.

    Raises:
        UserError: one cannot.
    """
    try:
        yield
    except OSError as error:
        if error.filename is None:
            raise
        raise UserError(f"{error.filename}: {error.strerror}") from error


def person_at_terminal(instead: str) -> Person:
    """Return the person on standard input; ``instead``: what to do where nobody is there to answer."""
    return Person(0, lambda text: click.echo(text, err=True, nl=False), instead)
