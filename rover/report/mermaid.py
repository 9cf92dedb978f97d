"""A behaviour as Mermaid's text (a state diagram), for a README that draws it where it is shown."""

import re
from collections.abc import Iterable, Iterator

from rover.behaviour.model import BehaviourGraph, GraphNode, StateNode
from rover.report.state_cards import ALWAYS, exit_text, tries_text

INDENT = "    "
_COMPARISON = re.compile(r"\s*([<>]=?)\s*")  # without blanks round it, a piece between two could be a tag of HTML


def mermaid(graph: BehaviourGraph) -> str:
    """Return a behaviour as the text of a Mermaid state diagram; graphs within are composite states."""
    lines = ["stateDiagram-v2", *(f"{INDENT}{line}" for line in _graph(graph.top))]
    return "\n".join(lines) + "\n"


def _graph(part: GraphNode) -> Iterator[str]:
    for state in part.states.values():
        yield from _state(state)
    yield f"[*] --> {_id(part.states[part.start].path)}"
    if part.always:
        everywhere = f"always_{part.path.replace('/', '__')}"
        yield f'state "{ALWAYS}<br>in every state here" as {everywhere}'
        yield from _arrows(everywhere, ((one.go, exit_text(one)) for one in part.always))
    for state in part.states.values():
        ways = [(one.go, exit_text(one)) for one in state.exits]
        if state.diversion is not None:
            ways.append((state.diversion, tries_text(state)))
        yield from _arrows(_id(state.path), ways)
        if state.final:
            yield f"{_id(state.path)} --> [*]"


def _state(state: StateNode) -> Iterator[str]:
    if state.graph is None:
        yield f'state "{state.name}<br>{state.activity or f"the end, {state.final}"}" as {_id(state.path)}'
        return
    yield f'state "{state.name}" as {_id(state.path)} {{'
    yield from (f"{INDENT}{line}" for line in _graph(state.graph))
    yield "}"


def _arrows(source: str, ways: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield an arrow to each state that ways lead to, with a line of text for each of them."""
    texts: dict[str, list[str]] = {}
    for goes, text in ways:
        texts.setdefault(goes, []).append(_COMPARISON.sub(r" \1 ", text))
    yield from (f"{source} --> {_id(goes)}: {'<br>'.join(lines)}" for goes, lines in texts.items())


def _id(path: str) -> str:
    """Return a name for a state that is no word of Mermaid's."""
    return "s_" + path.replace("/", "__")
