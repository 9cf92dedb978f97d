"""What the analysis says of random behaviours, against what becomes of them over random signals."""

from collections import Counter

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st
from random_behaviours import ALL, TIMES, Reference, engine_of, graphs, is_leaf_at_work, signals_of, trace

from rover.activities.registry import specs
from rover.behaviour.analysis import examine
from rover.behaviour.conditions import Scope, read_condition

BOUNDS = ("nothing bounds", "no way out", "it can end", "tries that are")
ACTIVITIES = specs()


def test_the_random_behaviours_are_worth_the_comparison():
    """In a fixed sample, most runs change state, some end, some are diverted, some meet the unknown.

    Fixed by a number: the profile's sample hangs on the text of the test, and changes with any word of it.
    """
    counts = Counter()

    @seed(1)
    @given(graphs(3), st.integers(0, 2**32))
    @settings(max_examples=150, derandomize=False, database=None)
    def survey(graph, signals_seed):
        reference = Reference(graph)
        for step, known in enumerate(trace(signals_seed, 40)):
            if step == 0:
                reference.begin(known)
            elif not reference.ending:
                before = list(reference.path)
                reference.step(known)
                counts["changes"] += before != reference.path
        counts["ended"] += reference.ending is not None
        counts["unknown"] += reference.unknowns > 0
        counts["diverted"] += reference.diverted > 0
        counts["deep"] += len(reference.path) > 1

    @seed(1)
    @given(bounded_graphs(2))
    @settings(max_examples=100, derandomize=False, database=None)
    def survey_of_bounded(graph):
        found = examine(engine_of(graph).graph, ACTIVITIES, None)
        counts["without findings"] += not any(one.why.startswith(BOUNDS) for one in found)

    survey()
    survey_of_bounded()
    assert counts["changes"] > 300
    assert min(counts[name] for name in ("ended", "diverted", "unknown", "deep", "without findings")) > 10, counts


@given(graphs(3), st.integers(0, 2**32))
@settings(max_examples=300)
def test_what_the_analysis_calls_dead_is_never_taken(graph, seed):
    """No false alarm: over random signals, no exit and no state is met of which the analysis says that it cannot be."""
    engine = engine_of(graph)
    found = examine(engine.graph, ACTIVITIES, None)
    dead = {(one.line, one.text) for one in found if "never taken" in one.why}
    unreachable = {(one.line, one.text) for one in found if "no exit leads" in one.why}
    for step, known in enumerate(trace(seed, 30)):
        (engine.step if step else engine.begin)(known["now"], signals_of(known))
        if known["end"] and is_leaf_at_work(graph, engine.path):
            engine.done() if known["end"] == "done" else engine.fail("it was to")
    for change in engine.changes:
        assert (int(change.where.rpartition(":")[2]), change.exit) not in dead
        for state in engine.graph.lineage(change.entered):
            assert (state.where.line, state.name) not in unreachable


@st.composite
def bounded_graphs(draw, depth):
    """A graph in which much is in order: each state is left after a time at the latest, the last one is final."""
    graph = draw(graphs(depth))
    names = list(graph["states"])
    graph["always"].sort(
        key=lambda one: "when" in one
    )  # times first: two conditions that go to and fro would hide them
    graph["states"][names[-1]] = {"final": "done"}
    for name in names[:-1]:
        state = graph["states"][name]
        if "states" in state:
            state.update(draw(bounded_graphs(depth - 1)))
        if draw(st.integers(0, 5)):
            state["exits"].append({"after": draw(st.sampled_from(TIMES)), "go": draw(st.sampled_from(names))})
        if draw(st.booleans()):
            state["tries"] = {"at_most": draw(st.integers(1, 3)), "go": names[-1]}
    return graph


@given(bounded_graphs(2), st.integers(0, 2**32))
@settings(max_examples=500)
def test_a_behaviour_without_findings_comes_to_its_end(graph, seed):
    """R14 is enough: whatever the signals are, tries and times bring every such behaviour to a final state."""
    engine = engine_of(graph)
    if any(one.why.startswith(BOUNDS) for one in examine(engine.graph, ACTIVITIES, None)):
        return
    worlds = list(trace(seed, 60))
    engine.begin(0, signals_of(worlds[0]))
    for second in range(1, 3000):
        engine.step(second * 1_000_000_000, signals_of(worlds[second % len(worlds)]))
        if engine.ending:
            return
    raise AssertionError(f"still going round: {[change.entered for change in engine.changes[-9:]]}")


@pytest.mark.parametrize("text", sorted(ALL))
def test_the_table_of_conditions_names_the_devices_the_language_finds(text):
    assert read_condition(text, Scope(outcomes=True)).devices == ALL[text][0]
