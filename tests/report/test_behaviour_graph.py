"""The picture of a behaviour: all of it is there, once, and its lines can be followed."""

from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.behaviour.model import BehaviourGraph, ExitNode, GraphNode, StateNode, Where
from rover.files.load import load
from rover.files.shipped import shipped
from rover.report.behaviour_graph import behaviour_svg, write_behaviour
from rover.report.mermaid import mermaid
from rover.report.state_cards import LANE, Panel, panel_of, row_places
from rover.session.assembly import check_behaviour

HERE = Where("file.yaml", 1, 1)
BEHAVIOURS = {name: check_behaviour(load(path, "behaviour"))[0] for name, path in shipped().items()}


def marked(picture: Element, name: str) -> list[str]:
    return [element.attrib[name] for element in picture.iter() if name in element.attrib]


@pytest.mark.parametrize("name", BEHAVIOURS)
def test_every_state_and_every_exit_is_there_once(name: str) -> None:
    graph = BEHAVIOURS[name]
    picture = behaviour_svg(graph)
    assert sorted(marked(picture, "data-state")) == sorted(graph.states)
    assert sorted(map(int, marked(picture, "data-exit"))) == sorted(one.number for one in graph.exits())


def test_an_exit_says_when_and_whither() -> None:
    picture = behaviour_svg(BEHAVIOURS["collect"])
    state = next(group for group in picture.iter("g") if group.get("data-state") == "pick_up/look_at_jaws")
    texts = [text.text for text in state.iter("text")]
    assert texts == ["look_at_jaws", "stand_still", "grip.held confirm 4 of 5", "held", "after 2 s", "back_off"]


def test_what_leads_out_of_every_state_is_a_card_of_its_own() -> None:
    (always,) = [card for card, _ in panel_of(BEHAVIOURS["bring_home"].top, "").cards if card.kind == "always"]
    (row,) = always.rows
    assert " ".join(row.lines).startswith("not grip.held confirm for settings.look_again, not in check_load, deposit,")
    assert "lost" not in " ".join(row.lines)  # it leads there


def test_values_are_shown_as_they_are_written(tmp_path: Path) -> None:
    (tmp_path / "b.yaml").write_text(
        "behaviour: There\nstart: go\nstates:\n  go:\n    does: drive_to\n    with: {place: [1.5 m, 40 cm]}\n"
        f"    exits:\n      - {{when: done or failed, go: {'long_' * 20}name}}\n"
        f"      - {{after: 9 s, go: {'long_' * 20}name}}\n  {'long_' * 20}name: {{final: done}}\n",
        "utf-8",
    )
    panel = panel_of(check_behaviour(load(tmp_path / "b.yaml", "behaviour"))[0].top, "")
    assert panel.cards[0][0].about == ("drive_to (place: [1.5 m, 40 cm])",)


def test_the_file_is_a_picture_by_itself(tmp_path: Path) -> None:
    written = ElementTree.parse(write_behaviour(BEHAVIOURS["collect"], tmp_path / "collect.svg")).getroot()
    assert written.tag == "{http://www.w3.org/2000/svg}svg"
    assert "http" not in ElementTree.tostring(written, "unicode").replace("http://www.w3.org/2000/svg", "")


@st.composite
def graphs(draw: st.DrawFn) -> GraphNode:
    """Graphs of a dozen states with exits from anywhere to anywhere."""
    names = [f"s{number}" for number in range(draw(st.integers(1, 12)))]
    states, number = {}, 0
    for name in names:
        exits = []
        for goes in draw(st.lists(st.sampled_from(names), max_size=6)):
            exits.append(ExitNode(number, "after 3 s " * draw(st.integers(1, 12)), HERE, goes, after_ns=1))
            number += 1
        states[name] = StateNode(name, HERE, activity="stand_still", exits=tuple(exits))
    return GraphNode("", HERE, names[0], (), states)


def spans(panel: Panel, side: str) -> list[tuple[int, float, float]]:
    """Return place and both ends of each lane on a side."""
    lanes = getattr(panel, side)
    return [(lane.place, min(*lane.leaves, lane.arrives), max(*lane.leaves, lane.arrives)) for lane in lanes]


@given(graphs())
def test_no_two_lines_lie_on_each_other(graph: GraphNode) -> None:
    """Lanes of one place do not meet; and no line comes to a card, or leaves one, where another does."""
    panel = panel_of(graph, "")
    for side in ("down", "up"):
        for (place, low, high), (other, other_low, other_high) in combinations(spans(panel, side), 2):
            assert place != other or high + LANE <= other_low + 1e-6 or other_high + LANE <= low + 1e-6
        ends = [y for lane in getattr(panel, side) for y in (*lane.leaves, lane.arrives)]
        assert all(after - before > 8.0 for before, after in pairwise(sorted(ends)))


@given(graphs())
def test_each_exit_has_its_line_down_or_up(graph: GraphNode) -> None:
    panel = panel_of(graph, "")
    tops = {card.path: top for card, top in panel.cards}
    due = [(row.goes, y) for card, top in panel.cards for row, y in row_places(card, top)]
    assert sorted((lane.goes, y) for lane in (*panel.down, *panel.up) for y in lane.leaves) == sorted(due)
    assert all(tops[lane.goes] > y for lane in panel.down for y in lane.leaves)
    assert all(tops[lane.goes] <= y for lane in panel.up for y in lane.leaves)


@given(graphs())
def test_rows_stay_in_their_cards_and_cards_apart(graph: GraphNode) -> None:
    panel = panel_of(graph, "")
    for card, top in panel.cards:
        assert all(
            top < y and y + 17.0 * (len(row.lines) - 1) + 8.0 < top + card.height for row, y in row_places(card, top)
        )
    for (card, top), (_, below) in pairwise(panel.cards):
        assert top + card.height < below


@pytest.mark.parametrize("name", BEHAVIOURS)
def test_mermaid_has_every_state_and_an_arrow_for_each_way(name: str) -> None:
    graph = BEHAVIOURS[name]
    lines = [line.strip() for line in mermaid(graph).splitlines()]
    assert lines[0] == "stateDiagram-v2"
    names = {line.removesuffix(" {").rpartition(" as ")[2] for line in lines if line.startswith("state ")}
    assert {f"s_{path.replace('/', '__')}" for path in graph.states} <= names
    arrows = [line.partition(":")[0].split(" --> ") for line in lines if "-->" in line]
    assert {end for arrow in arrows for end in arrow} - {"[*]"} <= names
    ways = {(state.path, one.go) for state in graph.states.values() for one in state.exits}
    for source, goes in ways:
        assert [f"s_{source.replace('/', '__')}", f"s_{goes.replace('/', '__')}"] in arrows


def test_mermaid_takes_no_comparison_for_a_tag() -> None:
    state = StateNode("a", HERE, activity="x", exits=(ExitNode(0, "when grip.opening<b>2", HERE, "a"),))
    graph = BehaviourGraph("", GraphNode("", HERE, "a", (), {"a": state}), {"a": state})
    assert "s_a --> s_a: grip.opening < b > 2\n" in mermaid(graph)
