"""Two cores given the same, as recorded and with changes: where their decisions part, and how each came to its own."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rover.awaited import Awaited
from rover.behaviour.model import BehaviourGraph
from rover.core import Core, StepRecord
from rover.events import StateChange, Stop
from rover.record.reader import read
from rover.record.steps import Commands, commands_of
from rover.session import loop
from rover.session.comparison import TOLERANCE, distance
from rover.session.recorded_errand import UNCHANGED, Changes, RecordedErrand, recorded_errand
from rover.session.replay import TELL_EVERY, Loading, Progress, given_again, look_from


@dataclass(frozen=True)
class Side:
    """What one of the two decided at a step.

    Attributes:
        changes: exits taken and stops; empty if it stayed in its state.
        does: what was done in the state: the activity with its parameters.
        exits: those that were open to it, first priority first, and how far each was.
        commands: of wheels and jaws.
    """

    changes: tuple[StateChange | Stop, ...]
    does: str
    exits: tuple[Awaited, ...]
    commands: Commands


@dataclass(frozen=True)
class Parting:
    """A step at which the two, in the same ``state`` before, decided otherwise; ``at_s`` since the run began."""

    at_s: float
    step: int
    state: str
    recorded: Side
    changed: Side


@dataclass(frozen=True)
class Partings:
    """Where decisions part, from the time on that was asked for.

    Attributes:
        steps: how many were gone through.
        commands: where the wheels or jaws are commanded otherwise, the state being the same; None if they never are.
        states: where another exit is taken, or a stop comes to one only; None if that never is.
        apart: the states in which the two end, where they are not in the same.
    """

    steps: int
    commands: Parting | None
    states: Parting | None
    apart: tuple[str, str] | None


def partings(
    path: Path, changes: Changes, from_s: float, progress: Progress, loading: Loading = lambda name: None
) -> Partings:
    """Give a core with changes what a run's core was given, up to where it takes another exit.

    Args:
        path: of the record.
        changes: what is otherwise.
        from_s: of the run's time; partings before are passed over.
        progress: is told how far it is, now and then.
        loading: is told of each activity of the person's own before it is imported.

    Raises:
        RecordError, FileProblems, LoadError, UserError: as `rover.session.replay.replay` and `recorded_errand`.
    """
    run = read(path)
    from_ns, began_ns = look_from(path, run, from_s), run.started_ns
    both = (recorded_errand(path, run, what, loading) for what in (UNCHANGED, changes))
    leading, following = _one_drives(*both)
    changed = following.core()
    commands = states = None
    number, now = 0, ("", "")
    with given_again(path, run, leading) as again:
        for number, (given, decided) in enumerate(loop.steps(again.core, again.host), 1):
            other = changed.step(given)
            before, now = now, (decided.state, other.state)
            if given.now_ns >= from_ns and before[0] == before[1]:
                at = (given.now_ns - began_ns) * 1e-9, number, before[0]
                if _taken(decided) != _taken(other):
                    states = Parting(*at, _side(again.core, before[0], decided), _side(changed, before[0], other))
                    break
                if commands is None and distance(commands_of(decided), commands_of(other)) > TOLERANCE:
                    commands = Parting(*at, _side(again.core, before[0], decided), _side(changed, before[0], other))
            if changed.engine.ending is not None:
                break
            if number % TELL_EVERY == 0:
                progress((given.now_ns - began_ns) * 1e-9, decided.state)
    return Partings(number, commands, states, None if now[0] == now[1] else now)


def _one_drives(leading: RecordedErrand, following: RecordedErrand) -> tuple[RecordedErrand, RecordedErrand]:
    """Have both hold the readings against what the wheels were given in truth, which is what the first commands.

    Else the second would take counts that do not follow from its own duties for those of a broken encoder.
    """
    driven: list[Any] = []

    class Leading(leading.parts.cross_checks):  # type: ignore[misc, name-defined]
        def drive(self, *given: Any) -> None:
            driven[:] = given
            super().drive(*given)

    class Following(following.parts.cross_checks):  # type: ignore[misc, name-defined]
        def drive(self, *_: Any) -> None:
            super().drive(*driven)

    parts = leading.parts._replace(cross_checks=Leading), following.parts._replace(cross_checks=Following)
    return replace(leading, parts=parts[0]), replace(following, parts=parts[1])


def _decisions(decided: StepRecord) -> tuple[StateChange | Stop, ...]:
    return tuple(event for event in decided.events if isinstance(event, StateChange | Stop))


def _taken(decided: StepRecord) -> list[str]:
    """Return what was decided, told apart from something else that another file may have in other words."""
    return [one.entered if isinstance(one, StateChange) else one.cause for one in _decisions(decided)]


def _side(core: Core, state: str, decided: StepRecord) -> Side:
    taken = _decisions(decided)
    texts = {one.exit for one in taken if isinstance(one, StateChange)}
    # of one that was taken there is nothing left to wait for
    exits = tuple(replace(one, is_near=one.is_near and one.text not in texts) for one in core.awaited(state))
    return Side(taken, _does(core.engine.graph, state), exits, commands_of(decided))


def _does(graph: BehaviourGraph, path: str) -> str:
    state = graph.states.get(path)
    if state is None or state.activity is None:
        return ""
    values = {
        name: one.constant if one.expression is None else one.expression.text for name, one in state.parameters.items()
    }
    return f"{state.activity} {', '.join(f'{name} {value}' for name, value in values.items())}".rstrip()
