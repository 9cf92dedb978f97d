"""A behaviour as cards: one for each state, with a row for each way out; and lanes beside them for the lines.

The cards of a graph stand below each other in the order of its file. From each row a line leads to the card that it
goes to: down on the right, up on the left. Lines to one card share a lane, so that however many exits there are, a
graph has no more than two lines for each of its states.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import NamedTuple

from rover.behaviour.model import ExitNode, GraphNode, StateNode

ALWAYS = "always"
LETTERS = 56
"""Of a row with the name of the state that it leads to, and of what a card says below its title; what is longer goes on
in the next line."""

TITLE, LINE, PAD, APART, LANE = 24.0, 17.0, 6.0, 20.0, 11.0
"""Heights of a title, of a line of text, and of the room below the rows; between cards; between lanes."""


@dataclass(frozen=True)
class Row:
    """One way out: an exit, or where a state's tries end.

    Attributes:
        lines: its text.
        goes: path of the state it leads to.
        number: of the exit, as the engine counts them; None for the end of tries.
    """

    lines: tuple[str, ...]
    goes: str
    number: int | None = None


@dataclass(frozen=True)
class Card:
    """One state, or (``path`` empty) what leads out of all states of a graph.

    Attributes:
        kind: `always`, `does`, `graph`, or of a final state `done` or `failed`.
        about: lines on what it does.
    """

    path: str
    title: str
    kind: str
    about: tuple[str, ...]
    rows: tuple[Row, ...]

    @property
    def height(self) -> float:
        """Height in the picture's units."""
        lines = len(self.about) + sum(len(row.lines) for row in self.rows)
        return TITLE + LINE * lines + (PAD if lines else 0.0)


class Lane(NamedTuple):
    """The lines to one card: where they leave their rows (y), where they come to the card, and how far out (from 0)."""

    goes: str
    leaves: tuple[float, ...]
    arrives: float
    place: int


@dataclass(frozen=True)
class Panel:
    """One graph, laid out.

    Attributes:
        start: path of the state that it begins with.
        title: of the graph.
        cards: with their upper edges (y), in their order.
        down: lanes to cards further down, right of the cards.
        up: lanes to cards further up or to themselves, left of them.
        height: of it all.
    """

    title: str
    start: str
    cards: tuple[tuple[Card, float], ...]
    down: tuple[Lane, ...]
    up: tuple[Lane, ...]
    height: float


def panel_of(graph: GraphNode, title: str) -> Panel:
    """Return a graph, laid out."""
    cards = [*_always(graph), *(_card(state) for state in graph.states.values())]
    placed, y = [], 0.0
    for card in cards:
        placed.append((card, y))
        y += card.height + APART
    tops = {card.path: top for card, top in placed if card.path}
    leaving = [(row.goes, at) for card, top in placed for row, at in row_places(card, top)]
    down = [(goes, at) for goes, at in leaving if tops[goes] > at]
    up = [(goes, at) for goes, at in leaving if tops[goes] <= at]
    start = graph.states[graph.start].path
    return Panel(title, start, tuple(placed), _lanes(down, tops), _lanes(up, tops), y - APART)


def row_places(card: Card, top: float) -> Iterator[tuple[Row, float]]:
    """Yield the rows of a card with the middles (y) of their first lines."""
    y = top + TITLE + LINE * len(card.about) + LINE / 2.0
    for row in card.rows:
        yield row, y
        y += LINE * len(row.lines)


def _lanes(lines: Iterable[tuple[str, float]], tops: dict[str, float]) -> tuple[Lane, ...]:
    """Return the lanes, the shortest nearest to the cards; lines to one card share one."""
    leaves: dict[str, list[float]] = {}
    for goes, at in lines:
        leaves.setdefault(goes, []).append(at)
    taken: list[list[tuple[float, float]]] = []
    lanes = []
    for goes, ys in sorted(leaves.items(), key=lambda item: _length(item[1], tops[item[0]])):
        arrives = tops[goes] + TITLE / 2.0
        span = min(*ys, arrives) - LANE / 2.0, max(*ys, arrives) + LANE / 2.0
        place = next((n for n, spans in enumerate(taken) if not _meets(span, spans)), len(taken))
        taken += [[] for _ in range(place + 1 - len(taken))]
        taken[place].append(span)
        lanes.append(Lane(goes, tuple(ys), arrives, place))
    return tuple(lanes)


def _length(ys: Sequence[float], arrives: float) -> float:
    return max(*ys, arrives) - min(*ys, arrives)


def _meets(span: tuple[float, float], spans: Iterable[tuple[float, float]]) -> bool:
    return any(span[0] < high and low < span[1] for low, high in spans)


def _always(graph: GraphNode) -> Iterator[Card]:
    if graph.always:
        rows = tuple(_exit(one) for one in graph.always)
        yield Card("", ALWAYS, ALWAYS, ("in every state below, before its own ways out",), rows)


def _card(state: StateNode) -> Card:
    kind = state.final or ("graph" if state.graph is not None else "does")
    tries = () if state.diversion is None else (Row((tries_text(state),), state.diversion),)
    return Card(state.path, state.name, kind, tuple(_about(state)), (*map(_exit, state.exits), *tries))


def _about(state: StateNode) -> Iterator[str]:
    if state.activity is not None:
        given = ", ".join(f"{name}: {value.text}" for name, value in state.parameters.items())
        yield from wrap(f"{state.activity} ({given})" if given else state.activity, LETTERS)
    elif state.graph is not None:
        yield f"a graph of its own, {state.path}"


def exit_text(one: ExitNode) -> str:
    """Return an exit in words, without where it leads; where it leads to, it need not say that it is silent."""
    silent = sorted(one.silent_in - {one.go.rpartition("/")[2]})
    return one.text.removeprefix("when ") + (f", not in {', '.join(silent)}" if silent else "")


def tries_text(state: StateNode) -> str:
    """Return in words when a state's tries are used up."""
    return f"entered more than {state.at_most} time{'s' * (state.at_most != 1)}"


def _exit(one: ExitNode) -> Row:
    beside = min(len(one.go.rpartition("/")[2]), LETTERS // 2)
    return Row(tuple(wrap(exit_text(one), LETTERS - beside)), one.go, one.number)
