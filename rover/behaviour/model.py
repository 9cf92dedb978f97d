"""The behaviour as the engine runs it: files expanded, names resolved, conditions checked, each part with its place."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from rover.behaviour.expression import Expression


@dataclass(frozen=True)
class Counted:
    """Confirmed by ``needed`` true samples among the last ``of``."""

    needed: int
    of: int


@dataclass(frozen=True)
class Lasting:
    """Confirmed by nothing but true samples over a span of taken-at times (ns)."""

    span_ns: int


Confirmation = Counted | Lasting
AT_ONCE = Counted(1, 1)


@dataclass(frozen=True)
class Where:
    """Where something stands: the file as messages call it, line and column."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


@dataclass(frozen=True)
class ExitNode:
    """One exit, checked.

    Attributes:
        number: counts all exits of the behaviour.
        text: as a person reads it, such as ``when target.seen confirm 3 of 5``.
        go: path of the state it leads to.
        when, until: conditions; None for a timed exit.
        after_ns: time since entry; None for a condition.
        silent_in: names of sibling states in which an ``always`` exit does not fire.
    """

    number: int
    text: str
    where: Where
    go: str
    when: Expression | None = None
    until: Expression | None = None
    after_ns: int | None = None
    confirm: Confirmation = AT_ONCE
    silent_in: frozenset[str] = frozenset()

    @property
    def conditions(self) -> tuple[Expression, ...]:
        """The conditions it has: none, ``when``, or both."""
        return tuple(one for one in (self.when, self.until) if one is not None)

    @property
    def devices(self) -> tuple[str, ...]:
        """The devices whose fresh reports make a sample."""
        return tuple(dict.fromkeys(device for one in self.conditions for device in one.devices))

    @property
    def signals(self) -> tuple[str, ...]:
        """The signals it reads."""
        return tuple(dict.fromkeys(signal for one in self.conditions for signal in one.signals))


@dataclass(frozen=True)
class ParameterValue:
    """A parameter's value: a constant, or an expression to be worked out at entry; ``text`` is as it was written."""

    constant: Any = None
    expression: Expression | None = None
    text: str = ""


@dataclass(frozen=True)
class StateNode:
    """One state, checked. It has an ``activity``, an inner ``graph``, or is ``final``."""

    path: str
    where: Where
    activity: str | None = None
    parameters: Mapping[str, ParameterValue] = field(default_factory=dict)
    graph: "GraphNode | None" = None
    final: Literal["done", "failed"] | None = None
    exits: tuple[ExitNode, ...] = ()
    at_most: int | None = None
    diversion: str | None = None

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rpartition("/")[2]

    @property
    def parent(self) -> str:
        """Path of the enclosing state; empty at the top."""
        return self.path.rpartition("/")[0]


@dataclass(frozen=True)
class GraphNode:
    """A graph: the state it begins with, its ``always`` exits, its states by name in the file's order."""

    path: str
    where: Where
    start: str
    always: tuple[ExitNode, ...]
    states: Mapping[str, StateNode]

    def walk(self) -> Iterator[StateNode]:
        """Yield every state, a parent before its children."""
        for state in self.states.values():
            yield state
            if state.graph is not None:
                yield from state.graph.walk()

    def graphs(self) -> Iterator["GraphNode"]:
        """Yield this graph and every inner one."""
        yield self
        for state in self.walk():
            if state.graph is not None:
                yield state.graph


@dataclass(frozen=True)
class BehaviourGraph:
    """A whole behaviour, ready to be compiled."""

    title: str
    top: GraphNode
    states: Mapping[str, StateNode]

    def exits(self) -> Iterator[ExitNode]:
        """Yield every exit: those under ``always`` first, the outermost graph's before the others."""
        for part in self.top.graphs():
            yield from part.always
        for state in self.states.values():
            yield from state.exits

    def lineage(self, path: str) -> tuple[StateNode, ...]:
        """Return the states from the outermost down to the one at a path."""
        parts = path.split("/")
        return tuple(self.states["/".join(parts[: depth + 1])] for depth in range(len(parts)))
