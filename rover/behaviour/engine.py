"""Runs a behaviour: decides in each step which exit to take, and changes state.

Deciding is compiled (`rover.behaviour.compile`). Every change of state is a trigger on the hierarchical machine
of the `transitions` library, whose entry and exit callbacks do what entering and leaving mean here.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from transitions.extensions.nesting import HierarchicalMachine, NestedState

from rover.awaited import Awaited
from rover.behaviour.awaited import awaited, within
from rover.behaviour.causes import Causes
from rover.behaviour.compile import UNKNOWNS, Compiler, Decide, Memory
from rover.behaviour.expression import evaluator, finite
from rover.behaviour.model import BehaviourGraph, ExitNode, GraphNode, Lasting, StateNode
from rover.behaviour.vocabulary import Progress, Signals
from rover.events import Diversion, StateChange


class Performer(Protocol):
    """Carries activities out for the engine."""

    def begin(self, state: StateNode, values: Mapping[str, Any], entry: int) -> None:
        """Start a state's activity; ``entry`` counts the state's entries in this run. Must not raise."""
        ...

    def cancel(self) -> None:
        """End the present activity, whether it has ended by itself or not."""
        ...

    def time_out(self, why: str) -> None:
        """Take note that a state is left by time, and why it was not over; what comes next begins after this."""
        ...


@dataclass(frozen=True)
class Ending:
    """How a behaviour ended: ``done`` or ``failed``, the final state's name and the exit that led there."""

    result: str
    reason: str
    exit: str


class _Slashed(NestedState):
    """State whose path is joined by '/', so that names with '_' are safe."""

    separator = "/"


class _Machine(HierarchicalMachine):
    state_cls = _Slashed

    def _add_model_to_state(self, state: Any, model: Any) -> None:
        """Give the model no ``is_<state>`` functions: a state may be called like one of their attributes."""


class _Position:
    """What the machine moves; it holds nothing but the present state."""


class Engine:
    """One run of one behaviour. Not safe for use by several threads.

    Attributes:
        path: of the innermost active state; empty before the start.
        step: takes at most one exit; call it as ``step(now_ns, signals)`` once a step. ``now_ns`` is the engine's own
            time: it stands still in holds and stops (R10). It is the compiled function of the present configuration
            itself, so that a step without a change costs nothing besides.
    """

    def __init__(self, graph: BehaviourGraph, performer: Performer) -> None:
        self.graph = graph
        self.ending: Ending | None = None
        self.changes: list[StateChange] = []
        self.compiler = Compiler(graph, self._take)
        self.memory: Memory = self.compiler.memory
        self._performer = performer
        self._exits = dict(_with_scopes(graph))
        self._causes = Causes()
        self._values = {state.path: _entry_values(state) for state in graph.states.values()}
        self._entries = dict.fromkeys(graph.states, 0)
        self._tries = dict.fromkeys(graph.states, 0)
        self.path = ""
        self.step: Decide = lambda now_ns, signals: -1
        self._now_ns = 0
        self._signals = Signals()
        self._position = _Position()
        self._machine = self._build_machine()

    @property
    def entries(self) -> Mapping[str, int]:
        """How often each state has been entered so far, by its path."""
        return self._entries

    @property
    def unknowns(self) -> int:
        """How often a condition could not be worked out: not a number, or a division by zero."""
        return self.memory[UNKNOWNS]

    def _build_machine(self) -> Any:
        machine = _Machine(
            model=self._position,
            states=["before the start", *(_described(state, self) for state in self.graph.top.states.values())],
            initial="before the start",
            auto_transitions=False,
            send_event=False,
        )
        machine.add_transition("begin", "before the start", self.graph.top.start)
        for part in self.graph.top.graphs():
            for state in part.states.values():
                for one in (*part.always, *state.exits):
                    for place in _landings(self.graph, one.go):
                        machine.add_transition(f"exit {one.number} to {place}", state.path, place)
        for name in self.graph.top.states:
            machine.add_transition(f"again {name}", name, name)
        return machine

    def begin(self, now_ns: int, signals: Signals) -> None:
        """Enter the start state."""
        self._now_ns, self._signals = now_ns, signals
        self._enter_graph(self.graph.top)
        start = self.graph.top.start
        self._trigger("begin")
        self.changes.append(StateChange("", self.path, "start", str(self.graph.states[start].where)))
        self._note_ending("start")

    def done(self) -> None:
        """Note that the present state's activity ended well; exits see it from the next step."""
        self._causes.done(self.path)
        self.memory[self.compiler.places.progress[self.path]] = Progress.DONE

    def fail(self, why: str) -> None:
        """Note that the present state's activity failed, and why; exits see it from the next step."""
        self._causes.fail(self.path, why)
        self.memory[self.compiler.places.progress[self.path]] = Progress.FAILED

    def awaited(self, now_ns: int, signals: Signals, path: str | None = None) -> tuple[Awaited, ...]:
        """Return the exits that are waited for, first priority first, and how far each is; changes nothing.

        ``path`` is another state than the present one, which has just been left.
        """
        return awaited(self.compiler, self.path if path is None else path, now_ns, signals)

    def resume(self, now_ns: int, signals: Signals) -> None:
        """Enter the outermost present state afresh after a hold or stop, its own tries not counted (R10).

        Before the start and after the end there is none, and nothing happens.
        """
        if not self.path or self.ending is not None:
            return
        self._now_ns, self._signals = now_ns, signals
        left, outermost = self.path, self.path.partition("/")[0]
        self._empty_windows(self.graph.top.always)
        self._tries[outermost] -= 1
        self._trigger(f"again {outermost}")
        self.changes.append(StateChange(left, self.path, "resumed", str(self.graph.states[outermost].where)))

    def _take(self, number: int, now_ns: int, signals: Signals) -> None:
        self._now_ns, self._signals = now_ns, signals
        (one, scope), left = self._exits[number], self.path
        values = {name: signals.value(name) for name in one.signals}
        ended, waited = self._causes.ended(scope), tuple[Awaited, ...]()
        if one.after_ns is not None:
            waited = within(scope, self.awaited(now_ns, signals))
            self._performer.time_out(self._causes.time_out(scope or left, one, waited))
        landing, diversions = self._land(one.go)
        self._trigger(f"exit {one.number} to {landing}")
        change = StateChange(left, self.path, one.text, str(one.where), values, ended, waited, diversions)
        self.changes.append(change)
        self._causes.end_graph(change, self.graph.states[self.path])
        self._note_ending(one.text)

    def _note_ending(self, exit_text: str) -> None:
        state = self.graph.states[self.path]
        if state.final is not None and not state.parent:
            self.ending = Ending(state.final, state.name, exit_text)

    def _land(self, path: str) -> tuple[str, tuple[Diversion, ...]]:
        """Return where an exit to ``path`` leads: there, or elsewhere if its tries are used up (R9), and which were."""
        state, diversions = self.graph.states[path], list[Diversion]()
        while state.at_most is not None and state.diversion is not None and self._tries[state.path] >= state.at_most:
            diversions.append(Diversion(state.path, state.at_most))
            state = self.graph.states[state.diversion]
        return state.path, tuple(diversions)

    def _trigger(self, name: str) -> None:
        self._machine.trigger_event(self._position, name)
        self.path = self._position.state  # type: ignore[attr-defined]
        self.step = self.compiler.decide(self.path)

    def _entered(self, path: str) -> None:
        """Library callback: a state is entered (parents first)."""
        state = self.graph.states[path]
        self._tries[path] += 1
        self._entries[path] += 1
        self._causes.enter(path)
        places = self.compiler.places
        self.memory[places.entered[path]] = self._now_ns
        self.memory[places.progress[path]] = Progress.UNDER_WAY
        self._empty_windows(state.exits)
        if state.graph is not None:
            self._enter_graph(state.graph)
        elif state.final is None:
            self._begin_activity(state)
        elif state.parent:
            self.memory[places.progress[state.parent]] = Progress.DONE if state.final == "done" else Progress.FAILED

    def _begin_activity(self, state: StateNode) -> None:
        values: dict[str, Any] = {}
        for name, work_out in self._values[state.path].items():
            try:
                values[name] = work_out(self._signals)
            except (ArithmeticError, ValueError):
                values[name] = float("nan")
        if unknown := [name for name, value in values.items() if not finite(value)]:
            self.memory[UNKNOWNS] += 1
            self.memory[self.compiler.places.progress[state.path]] = Progress.FAILED
            self._causes.fail(state.path, f"its {' and '.join(unknown)} could not be worked out")
            return
        self._performer.begin(state, values, self._entries[state.path])

    def _left(self, path: str) -> None:
        """Library callback: a state is left (children first)."""
        if self.graph.states[path].activity is not None:
            self._performer.cancel()

    def _enter_graph(self, part: GraphNode) -> None:
        for state in part.states.values():
            self._tries[state.path] = 0
        if not part.path:
            self.memory[self.compiler.places.entered[""]] = self._now_ns
        self._empty_windows(part.always)

    def _empty_windows(self, exits: tuple[ExitNode, ...]) -> None:
        """Begin the samples of some exits afresh: their scope is entered."""
        memory, signals, places = self.memory, self._signals, self.compiler.places
        for one in exits:
            if one.when is None:
                continue
            memory[places.fired[one.number]] = 0
            memory[places.window[one.number]] = -1 if isinstance(one.confirm, Lasting) else 0
            if one.until is not None:
                memory[places.answer[one.number]] = 0
            if one.number in places.since:
                memory[places.since[one.number]] = signals.step_ns
            for device, place in places.marks[one.number]:
                memory[place] = getattr(signals, f"{device}_n")


def _with_scopes(graph: BehaviourGraph) -> Iterator[tuple[int, tuple[ExitNode, str]]]:
    """Yield for each exit its number, and it with the path of the state that it belongs to."""
    for part in graph.top.graphs():
        yield from ((one.number, (one, part.path)) for one in part.always)
    for state in graph.states.values():
        yield from ((one.number, (one, state.path)) for one in state.exits)


def _landings(graph: BehaviourGraph, path: str) -> list[str]:
    """Return the state an exit leads to, and those it may be diverted to when tries are used up."""
    chain = [path]
    while (diversion := graph.states[chain[-1]].diversion) and diversion not in chain:
        chain.append(diversion)
    return chain


def _entry_values(state: StateNode) -> dict[str, Callable[[Signals], Any]]:
    """Return, for each parameter, the function that works it out at entry (R11)."""
    return {
        name: evaluator(value.expression) if value.expression is not None else _always(value.constant)
        for name, value in state.parameters.items()
    }


def _always(constant: Any) -> Callable[[Signals], Any]:
    return lambda signals: constant


def _described(state: StateNode, engine: Engine) -> dict[str, Any]:
    """Return a state as the library takes it."""
    described: dict[str, Any] = {
        "name": state.name,
        "on_enter": [lambda: engine._entered(state.path)],
        "on_exit": [lambda: engine._left(state.path)],
    }
    if state.graph is not None:
        described["initial"] = state.graph.start
        described["children"] = [_described(child, engine) for child in state.graph.states.values()]
    return described
