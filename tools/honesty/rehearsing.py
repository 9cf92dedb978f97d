"""What the instruments of this folder share: what an alarm is, and many runs side by side, kept in a file."""

import argparse
import inspect
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from rover.commands.output import TimeLeft
from rover.errors import UserError
from rover.events import Event, Health, HealthChange, Stop
from rover.session.assembly import with_user_activities
from rover.session.program import program_digest
from rover.session.result import Result
from rover.session.without import SAFEGUARDS, left_out
from rover.trials.campaign import command_of
from rover.trials.side_by_side import SideBySide
from rover.trials.statistics import Estimate, wilson
from rover.trials.trial import Trial, WatchedRehearsal

ROOT = Path(__file__).parents[2]
FLOORS = tuple(ROOT / "tools" / "honesty" / "floors" / f"{name}.yaml" for name in ("open", "walled", "divided"))
STOP = "stop"
R = TypeVar("R", bound=WatchedRehearsal)


class Alarm(NamedTuple):
    """Something was said that must have a reason.

    Attributes:
        at_s: robot time.
        what: the device that is named as wrong, or `STOP`.
        why: in the record's words.
    """

    at_s: float
    what: str
    why: str


def alarm_of(event: Event, at_s: float) -> Alarm | None:
    """Return the alarm that an event is: a device is not believed any more, or a stop latched. Overdue is neither."""
    match event:
        case Stop(cause):
            return Alarm(at_s, STOP, cause)
        case HealthChange(device, health, why) if health not in (Health.OK, Health.OVERDUE):
            return Alarm(at_s, device, why)
    return None


def arguments(description: str | None) -> argparse.ArgumentParser:
    """Return a parser of the options that all instruments have."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    parser.add_argument("--jobs", type=int, default=os.cpu_count(), help="processes side by side")
    parser.add_argument("--without", choices=list(SAFEGUARDS), default="", help="leave a safeguard out")
    parser.add_argument("--into", type=Path, help="file of the rows; named again, only what it lacks is run")
    return parser


def rehearsed(make: Callable[..., R], trial: Trial) -> tuple[R, Result]:
    """Rehearse, and return the rehearsal, made by ``make`` as `WatchedRehearsal` is, with its result."""
    with tempfile.TemporaryDirectory(prefix="rover-honesty-") as folder:
        assembly, activities = with_user_activities(trial.errand, {}, trial.given)
        assembly, parts = left_out(trial.without, assembly)
        run = make(assembly, activities, trial.seed, Path(folder) / "run.sqlite", parts=parts)
        return run, run.run(lambda *_: None)


def share_by_run(counts: Iterable[tuple[int, int]]) -> Estimate | None:
    """Return the share of what is good, with its 95 % interval; None where there is nothing.

    What comes of one run goes together: the interval is Wilson's for as many independent things as tell as much (J. N.
    K. Rao and A. J. Scott, Biometrics 48 (1992) 577-585: the design effect of a ratio; from memory). Where all is good,
    or nothing, it is taken for the worst: each run tells as much as one thing.

    Args:
        counts: of each run, how much is good, and of how much.
    """
    counts = [(good, of) for good, of in counts if of]
    good, number, runs = sum(one for one, _ in counts), sum(of for _, of in counts), len(counts)
    if number == 0:
        return None
    share, enough = good / number, float(runs)
    if 0 < good < number and runs > 1:
        scatter = runs / (runs - 1) * sum((one - share * of) ** 2 for one, of in counts) / number**2
        enough = min(float(number), share * (1.0 - share) / scatter) if scatter else float(number)
    return Estimate(share, *wilson(share * enough, enough)[1:])


class Runs:
    """Runs side by side, whose rows are kept in a file of JSON lines.

    Args:
        into: the file; None keeps nothing. Rows of another program, or of other instruments, are refused.
        row: the class of a row: a dataclass whose first field is the `command` that shows the run, with an `error`.
    """

    def __init__(self, into: Path | None, row: type[Any]) -> None:
        self._into, self._row = into, row

    def rows(self, tasks: Sequence[Any], work: Callable[[Any], Any], jobs: int) -> Iterator[Any]:
        """Yield a row for each task, in any order. A task has a `trial`; ``work`` makes a row of it.

        Raises:
            UserError: the file's rows are of another program.
        """
        kept = self._kept()
        due = [task for task in tasks if command_of(task.trial) not in kept]
        yield from (kept[command_of(task.trial)] for task in tasks if command_of(task.trial) in kept)
        results = SideBySide(work, due, self._lost).run(jobs)
        with closing(TimeLeft(len(tasks) - len(due), len(tasks))) as progress, closing(results):
            for _, row in results:
                self._keep(row)
                progress.show(row.command)
                yield row

    def _lost(self, task: Any, why: str) -> Any:
        return self._row(command_of(task.trial), error=why)

    def _kept(self) -> dict[str, Any]:
        if self._into is None:
            return {}
        program = {"program": program_digest((Path(inspect.getfile(self._row)).parent,))}
        if not self._into.exists():
            self._into.write_text(json.dumps(program) + "\n")
        first, *lines = self._into.read_text().splitlines(keepends=True)
        if json.loads(first) != program:
            raise UserError(f"{self._into}: its rows are of another program; name another file")
        whole = [line for line in lines if line.endswith("\n")]  # the last may have been cut off
        self._into.write_text("".join([first, *whole]))
        return {row["command"]: self._row(**row) for row in map(json.loads, whole)}

    def _keep(self, row: Any) -> None:
        if self._into is not None:
            with self._into.open("a") as file:
                file.write(json.dumps(asdict(row)) + "\n")
