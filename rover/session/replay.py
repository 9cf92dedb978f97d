"""Replay: the core once more over what a record says that it was given, each step held against what was decided then.

It runs from the beginning of the run, also where only a later part is asked for: the core's state at any other time is
in no record, since taking it down would keep the loop of a robot waiting, and a run is replayed many times faster than
it went. So a span in which samples were lost is the end of what can be replayed.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from tempfile import TemporaryDirectory

from rover.core import Core, StepReadings, StepRecord
from rover.core.health import RECORD
from rover.events import HealthChange
from rover.record.reader import read
from rover.record.run import Gap, RecordedRun, RecordError
from rover.record.steps import Commands, RecordedStep, steps
from rover.session import loop
from rover.session.comparison import Comparison, Difference, Rounding
from rover.session.on_bench import Rehearsal
from rover.session.program import computer, digests_of, own_program
from rover.session.recorded_errand import RecordedErrand, recorded_errand

FROM_READINGS, FROM_BENCH = "the readings recorded", "the bench of the same seed"
TELL_EVERY = 500
"""Steps between two words on the progress."""
Progress = Callable[[float, str], None]
"""Shows robot time (s) since the run began, and the state."""
Loading = Callable[[str], None]


class GivenAgain(loop.Host):
    """Gives the core what a run's core was given.

    Attributes:
        commands: what the latest step commanded then; None where that was not recorded.
        unheld: devices of which something could not be recorded as it was, so far.
    """

    why_ended = "the record is at its end"

    def __init__(self) -> None:
        self.commands: Commands | None = None
        self.unheld: dict[str, None] = {}

    def apply(self, decided: StepRecord) -> None:
        """Nobody takes commands."""

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Nothing else is to be done."""

    def close(self) -> None:
        """Nothing is open."""


class ReadingsAgain(GivenAgain):
    """Gives the readings that were recorded, up to where some were lost."""

    def __init__(self, recorded: Iterator[RecordedStep], gap: Gap | None) -> None:
        super().__init__()
        self._recorded, self._gap = recorded, gap

    def next_step(self) -> StepReadings | None:
        """Return what the next step was given."""
        step = next(self._recorded, None)
        if step is None or (self._gap is not None and step.given.now_ns >= self._gap.from_ns):
            return None
        self.commands = step.commands
        self.unheld |= dict.fromkeys(step.unheld)
        return step.given


class BenchAgain(GivenAgain):
    """Rehearses again: seed and files give the same readings. That its record could not be written does not repeat."""

    def __init__(self, rehearsal: Rehearsal, run: RecordedRun) -> None:
        super().__init__()
        self._rehearsal, self._ended_ns = rehearsal, run.ended_ns
        self._of_record = {
            at_ns: (RECORD, event.why)
            for at_ns, event in run.happenings
            if isinstance(event, HealthChange) and event.device == RECORD
        }

    def next_step(self) -> StepReadings | None:
        """Let the bench go on, up to the end of the record."""
        given = self._rehearsal.next_step()
        if given is None or given.now_ns > self._ended_ns:
            return None
        faults = [fault for fault in given.faults if fault[0] != RECORD]
        if given.now_ns in self._of_record:
            faults.append(self._of_record[given.now_ns])
        return given._replace(faults=faults)

    def apply(self, decided: StepRecord) -> None:
        """Let the bench have the commands."""
        self._rehearsal.apply(decided)

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """See whether a stop ends it."""
        self._rehearsal.after_step(given, decided)

    def close(self) -> None:
        """Let go of the bench."""
        self._rehearsal.close()


@dataclass(frozen=True)
class Again:
    """A run about to be given again: its errand, core and host for that, and where a gap ends it."""

    errand: RecordedErrand
    core: Core
    host: GivenAgain
    source: str
    gap: Gap | None = None


@contextmanager
def given_again(path: Path, run: RecordedRun, errand: RecordedErrand) -> Iterator[Again]:
    """Have all that the core of a run of an errand was given ready to be given again: its readings, or the bench's.

    Raises:
        RecordError: neither is to be had.
    """
    with ExitStack() as stack:
        recorded = steps(path, errand.robot)
        first = next(recorded, None)
        if first is not None:
            gap = next((gap for gap in run.gaps if gap.table == "readings"), None)
            yield Again(errand, errand.core(), ReadingsAgain(chain([first], recorded), gap), FROM_READINGS, gap)
            return
        if not run.header["host"].endswith("bench"):
            raise RecordError(f"{path}: no step was written before it was cut; there is nothing to replay")
        folder = stack.enter_context(TemporaryDirectory(prefix="rover-replay-"))
        rendered = "rendered" in run.header["host"]
        made, into = errand.assembly, Path(folder) / "run.sqlite"
        rehearsal = Rehearsal(made, errand.activities, errand.seed, into, rendered=rendered, parts=errand.parts)
        yield Again(errand, rehearsal.core, stack.enter_context(closing(BenchAgain(rehearsal, run))), FROM_BENCH)


@dataclass(frozen=True)
class Replayed:
    """What a replay came to.

    Attributes:
        run: the record.
        source: where what the core was given came from.
        steps, until_s: how many were replayed, and up to when, since the run began.
        compared: how many events, places and commands were held against the record.
        difference: the first one, None if there is none.
        causes: what explains it, most likely first.
        rounding: numbers that differ in their last digits only.
        gap: samples that were lost; what comes after them could not be replayed.
    """

    run: RecordedRun
    source: str
    steps: int
    until_s: float
    compared: dict[str, int]
    difference: Difference | None
    causes: tuple[str, ...]
    rounding: Rounding
    gap: Gap | None


def replay(path: Path, from_s: float, progress: Progress, loading: Loading = lambda name: None) -> Replayed:
    """Replay a record, and hold every step against it up to the first that differs.

    Args:
        path: of the record.
        from_s: of the run's time; steps before are replayed and not looked at.
        progress: is told how far it is, now and then.
        loading: is told of each activity of the person's own before it is imported.

    Raises:
        RecordError: it cannot be read, is no errand's, or holds nothing to replay.
        FileProblems, LoadError: as `recorded_errand`.
    """
    run = read(path)
    comparison = Comparison(run, look_from(path, run, from_s))
    difference, until_ns = None, run.started_ns
    with given_again(path, run, recorded_errand(path, run, loading=loading)) as again:
        for given, decided in loop.steps(again.core, again.host):
            until_ns = given.now_ns
            difference = comparison.take(given, decided, again.core, again.host.commands)
            if difference is not None:
                break
            if comparison.steps % TELL_EVERY == 0:
                progress((until_ns - run.started_ns) * 1e-9, decided.state)
        difference = difference or comparison.left_over(run.ended_ns if again.gap is None else until_ns)
        why = () if difference is None else tuple(causes(run, again, difference, comparison.rounding))
    compared, rounding = dict(comparison.compared), comparison.rounding
    spans = comparison.steps, (until_ns - run.started_ns) * 1e-9
    return Replayed(run, again.source, *spans, compared, difference, why, rounding, again.gap)


def look_from(path: Path, run: RecordedRun, from_s: float) -> int:
    """Return the robot time (ns) that is so long after a run's beginning.

    Raises:
        RecordError: the run did not last so long.
    """
    from_ns = run.started_ns + round(from_s * 1e9)
    if from_ns > run.ended_ns:
        lasted = (run.ended_ns - run.started_ns) * 1e-9
        raise RecordError(f"{path}: it lasts {lasted:.1f} s, and there is nothing from {from_s:g} s on")
    return from_ns


def causes(run: RecordedRun, again: Again, difference: Difference, rounding: Rounding) -> Iterator[str]:
    """Yield what explains a difference, by what is known of both runs."""
    if again.host.unheld:
        yield f"{' and '.join(again.host.unheld)} reported what the record could not hold as it was"
    own = again.errand.assembly.user_activities
    then = again.errand.code
    changed = [name for name, now in digests_of(own).items() if then.get(name, now) != now]
    if changed:
        yield f"{' and '.join(changed)}: the file is not what it was when this was recorded"
    state = again.errand.assembly.graph.states.get(difference.state)
    if state is not None and state.activity in own:
        yield f"'{state.path}' is done by {state.activity}, your own: what it takes from elsewhere is not recorded"
    if run.header["program"] != own_program():
        yield f"the program is another one (recorded by {run.header['version']}, code {run.header['program']})"
    if run.header["computer"] != computer() and rounding.numbers:
        since_s = (rounding.since_ns - run.started_ns) * 1e-9
        yield f"numbers differ in their last digits since {since_s:.2f} s: recorded on {run.header['computer']}"
    if again.source == FROM_BENCH and "rendered" in run.header["host"]:
        yield "frames were drawn and read again; another version of the vision's library may find other things in them"
    yield "else either the record was altered, or this is a bug in rover: please report it with the record"
