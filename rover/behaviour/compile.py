"""Behaviour graph -> one Python function for each configuration of active states.

A function looks only at the exits that can be taken in its configuration, so a step costs the same however
many states the behaviour has elsewhere. What it remembers between steps (entry times, windows, the reports
already looked at) stands in one flat list, the *memory*, which is all of the engine's state and can be saved.

The source is written here from checked expressions; rules R1, R2, R5, R6, R7 and R8 live in this file.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import count

from rover.behaviour.expression import Expression
from rover.behaviour.model import AT_ONCE, BehaviourGraph, Counted, ExitNode, Lasting
from rover.behaviour.vocabulary import Progress, Signals
from rover.quantities import wrap

UNKNOWNS = 0
"""Memory place that counts conditions which could not be worked out (NaN, division by zero, overflow)."""

Memory = list[int]
Decide = Callable[[int, Signals], int]
Take = Callable[[int, int, Signals], None]
"""What is called with the number of an exit that is taken, the time and the signals."""


@dataclass(frozen=True)
class Places:
    """Where the memory keeps things.

    Attributes:
        entered: by state path ('' is the whole graph), the time of entry.
        progress: by state path, the `Progress`.
        marks: by exit number, for each of its devices the reports looked at so far.
        since: by exit number, the step's time at the entry of its scope: a report taken before it is no sample.
        fired: by exit number, whether its confirmation holds.
        window: by exit number, the samples of a window as bits, or the time of a lasting one's first true sample.
        answer: by exit number with 'until', the last answer.
        unknown: by number of an exit that may be unknown, the step's time since when it is; 0 while it is not. Behind
            it stand how often it could not be worked out, and the step's times of the first and the last time.
    """

    entered: Mapping[str, int]
    progress: Mapping[str, int]
    marks: Mapping[int, tuple[tuple[str, int], ...]]
    since: Mapping[int, int]
    fired: Mapping[int, int]
    window: Mapping[int, int]
    answer: Mapping[int, int]
    unknown: Mapping[int, int]
    size: int


def allocate(graph: BehaviourGraph) -> Places:
    """Return where the memory keeps the state of every part of a behaviour."""
    new = count(UNKNOWNS + 1)
    conditions = [one for one in graph.exits() if one.when is not None]
    return Places(
        {path: next(new) for path in ("", *graph.states)},
        {path: next(new) for path in graph.states},
        {one.number: tuple((device, next(new)) for device in one.devices) for one in conditions},
        {one.number: next(new) for one in conditions if one.devices},
        {one.number: next(new) for one in conditions},
        {one.number: next(new) for one in conditions},
        {one.number: next(new) for one in conditions if one.until is not None},
        {one.number: min(next(new) for _ in range(4)) for one in conditions if _may_be_unknown(one)},
        next(new),
    )


def exits_in_order(graph: BehaviourGraph, path: str) -> list[tuple[ExitNode, str, bool]]:
    """Return the exits of a configuration, first priority first (R1), as (exit, scope, silent).

    The scope is the path of the state whose entry starts its timers ('' for the whole graph). An ``always`` exit
    is silent in the states its ``except`` names: its window goes on, but it does not fire.
    """
    lineage = graph.lineage(path)
    ordered: list[tuple[ExitNode, str, bool]] = []
    graphs = [graph.top, *(state.graph for state in lineage if state.graph is not None)]
    for part, inner in zip(graphs, lineage, strict=True):
        if inner.final is None:
            ordered += [(one, part.path, inner.name in one.silent_in) for one in part.always]
    for state in reversed(lineage):
        ordered += [(one, state.path, False) for one in state.exits]
    return ordered


class Compiler:
    """Makes the decide functions of one behaviour; each is made when it is first needed."""

    def __init__(self, graph: BehaviourGraph, take: Take = lambda number, now_ns, signals: None) -> None:
        self._take = take
        self.graph = graph
        self.places = allocate(graph)
        self.memory: Memory = [0] * self.places.size
        self._made: dict[str, Decide] = {}

    def decide(self, path: str) -> Decide:
        """Return the function for the configuration whose innermost state is at ``path``.

        It takes the engine's time (ns) and the signals, and returns the number of the exit that it took, or -1. The
        memory is its third argument, bound already: one name less to look up in each step.
        """
        if path not in self._made:
            namespace: dict[str, object] = {"wrap": wrap, "w": self.memory, "take": self._take}
            code = compile(self.source(path), f"<decide {path}>", "exec")
            exec(code, namespace)  # source written by this class from checked expressions
            self._made[path] = namespace["decide"]  # type: ignore[assignment]
        return self._made[path]

    def source(self, path: str) -> str:
        """Return the source of the function for a configuration."""
        body = _Body()
        # Written last to first, each overwriting ``pick``: the last one to do so has priority, and no window
        # or timer is left out because of another exit.
        for one, scope, silent in reversed(exits_in_order(self.graph, path)):
            self._exit(body, one, scope, silent)
        body.add("if pick >= 0: take(pick, now, s)", "return pick")
        return "\n".join(["def decide(now, s, w=w):", "    pick = -1", *body.lines, ""])

    def _exit(self, body: "_Body", one: ExitNode, scope: str, silent: bool) -> None:
        if one.after_ns is not None:
            if not silent:
                body.add(f"if now - w[{self.places.entered[scope]}] >= {one.after_ns}: pick = {one.number}")
            return
        assert one.when is not None
        if not one.devices and one.until is None and one.confirm == AT_ONCE and not _may_be_unknown(one):
            if not silent:
                body.add(f"if {self._named(one.when, scope)}: pick = {one.number}")
            return
        self._sampled(body, one, scope, silent)

    def _named(self, expression: Expression, scope: str) -> str:
        """Return an expression's source with ``done`` and ``failed`` of the scope's state in place."""
        if not expression.outcomes:
            return expression.code
        place = self.places.progress[scope]
        code = _replace_word(expression.code, "done", f"w[{place}] == {int(Progress.DONE)}")
        return _replace_word(code, "failed", f"w[{place}] == {int(Progress.FAILED)}")

    def _sampled(self, body: "_Body", one: ExitNode, scope: str, silent: bool) -> None:
        devices = self.places.marks[one.number]
        fired, window = self.places.fired[one.number], self.places.window[one.number]
        pick = [] if silent else [f"if w[{fired}]: pick = {one.number}"]
        if not devices:
            self._sample(body, one, scope, "now")
            body.add(*pick)
            return
        body.add("if " + " and ".join(f"s.{device}_ok" for device, _ in devices) + ":")
        with body:
            since = self.places.since[one.number]
            fresh_reports = [f"s.{device}_n != w[{place}]" for device, place in devices]
            fresh_reports += [f"s.{device}_t >= w[{since}]" for device, _ in devices]
            body.add("if " + " and ".join(fresh_reports) + ":")
            with body:
                body.add(*(f"w[{place}] = s.{device}_n" for device, place in devices))
                taken = [f"s.{device}_t" for device, _ in devices]
                self._sample(body, one, scope, taken[0] if len(taken) == 1 else f"max({', '.join(taken)})")
            body.add(*pick)
        if isinstance(one.confirm, Lasting):
            body.add(f"else: w[{window}] = -1; w[{fired}] = 0")

    def _sample(self, body: "_Body", one: ExitNode, scope: str, taken: str) -> None:
        """Write what one sample does: work the condition out, if it can be, and push it into the window."""
        if not _may_be_unknown(one):
            self._push(body, one, self._truth(one, scope), taken)
            return
        unknown = self.places.unknown[one.number]
        operands = list(dict.fromkeys(operand for condition in one.conditions for operand in condition.operands))
        body.add("try:")
        with body:
            body.add(*(f"n{index} = {operand}" for index, operand in enumerate(operands)))
            known = " and ".join(f"n{index} == n{index}" for index in range(len(operands))) or "True"
            body.add(f"v = ({self._truth(one, scope)}) if {known} else None")
        body.add("except (ArithmeticError, ValueError): v = None")  # zero divisor, too large, wrap(infinity)
        body.add("if v is None:")
        with body:
            body.add(f"w[{UNKNOWNS}] += 1; w[{self.places.fired[one.number]}] = 0")
            body.add(f"w[{unknown}] = w[{unknown}] or s.step_ns; w[{unknown + 1}] += 1")
            body.add(f"w[{unknown + 2}] = w[{unknown + 2}] or s.step_ns; w[{unknown + 3}] = s.step_ns")
            if isinstance(one.confirm, Lasting):
                body.add(f"w[{self.places.window[one.number]}] = -1")
        body.add("else:")
        with body:
            body.add(f"w[{unknown}] = 0")
            self._push(body, one, "v", taken)

    def _truth(self, one: ExitNode, scope: str) -> str:
        assert one.when is not None
        when = self._named(one.when, scope)
        if one.until is None:
            return when
        answer = self.places.answer[one.number]
        return f"True if {when} else (False if {self._named(one.until, scope)} else w[{answer}])"

    def _push(self, body: "_Body", one: ExitNode, truth: str, taken: str) -> None:
        fired, window = self.places.fired[one.number], self.places.window[one.number]
        if one.until is not None:
            body.add(f"w[{self.places.answer[one.number]}] = v = {truth}")
            truth = "v"
        match one.confirm:
            case Counted(needed=1, of=1):
                body.add(f"w[{fired}] = {truth}")
            case Counted(needed=needed, of=of):
                body.add(f"w[{window}] = m = (w[{window}] << 1 | ({truth})) & {(1 << of) - 1}")
                body.add(f"w[{fired}] = m.bit_count() >= {needed}")
            case Lasting(span_ns=span):
                body.add(f"if {truth}:")
                with body:
                    body.add(f"if w[{window}] < 0: w[{window}] = {taken}")
                    body.add(f"w[{fired}] = {taken} - w[{window}] >= {span}")
                body.add(f"else: w[{window}] = -1; w[{fired}] = 0")


def _may_be_unknown(one: ExitNode) -> bool:
    return any(condition.operands or condition.divides for condition in one.conditions)


def _replace_word(code: str, word: str, by: str) -> str:
    return re.sub(rf"(?<![\w.'\"]){word}(?![\w'\"])", f"({by})", code)


@dataclass
class _Body:
    """Lines of a function under construction, with their depth; a ``with`` block indents."""

    lines: list[str] = field(default_factory=list)
    depth: int = 1

    def add(self, *lines: str) -> None:
        self.lines += ["    " * self.depth + line for line in lines]

    def __enter__(self) -> None:
        self.depth += 1

    def __exit__(self, *_: object) -> None:
        self.depth -= 1
