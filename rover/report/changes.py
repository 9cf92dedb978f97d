"""How long the robot stayed in its states, and how long it was held back."""

from itertools import groupby, pairwise
from typing import NamedTuple

from rover.events import HoldBack, StateChange
from rover.record.run import RecordedRun
from rover.report.look import outermost


class Stay(NamedTuple):
    """A time spent in an outermost state."""

    state: str
    from_ns: int
    to_ns: int


def stays_of(run: RecordedRun) -> list[Stay]:
    """Return the stays in outermost states, in order; the last one lasts to the end of the record."""
    entered = [(at_ns, event.entered) for at_ns, event in run.happenings if isinstance(event, StateChange)]
    firsts = [next(group) for _, group in groupby(entered, lambda item: outermost(item[1]))]
    ends = [*firsts, (run.ended_ns, "")]
    return [Stay(outermost(state), from_ns, to_ns) for (from_ns, state), (to_ns, _) in pairwise(ends)]


def hold_back_lengths(run: RecordedRun) -> dict[int, int]:
    """Return how long (ns) each hold-back lasted, by the position of its begin among the run's happenings."""
    lengths: dict[int, int] = {}
    begun: dict[str, int] = {}
    for position, (at_ns, event) in enumerate(run.happenings):
        if isinstance(event, HoldBack) and not event.ended:
            begun[event.cause] = position
        elif isinstance(event, HoldBack) and event.cause in begun:
            first = begun.pop(event.cause)
            lengths[first] = at_ns - run.happenings[first].at_ns
    return lengths
