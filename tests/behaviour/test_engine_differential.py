"""The engine against two others, over random behaviours and random signals.

(a) `Reference`, written from the rules alone (in `random_behaviours`). Compared are the innermost state after every
step, the ending, and how often a condition could not be worked out.

(b) The general-purpose statechart interpreter `sismic` gets the part of the language that statecharts have: nesting,
conditions without device, `done` and `failed`, `after`, priorities, final states. One event stands for one step; its
clock is set by the test. Not compared there: confirmations, hysteresis, unknown, tries, resuming. `always` has no
counterpart in it (an outer exit that beats inner ones), so the test writes those out into every innermost state.
"""

from hypothesis import given, settings
from hypothesis import strategies as st
from random_behaviours import Reference, engine_of, graphs, is_leaf_at_work, seconds, signals_of, trace
from sismic.clock import SimulatedClock
from sismic.interpreter import Interpreter
from sismic.model import BasicState, CompoundState, Statechart, Transition


@given(graphs(3), st.integers(0, 2**32))
@settings(max_examples=1000)
def test_the_engine_takes_the_same_way_as_the_rules_read_plainly(graph, seed):
    engine, reference = engine_of(graph), Reference(graph)
    for step, known in enumerate(trace(seed, 40)):
        signals = signals_of(known)
        if step == 0:
            engine.begin(known["now"], signals)
            reference.begin(known)
        elif known["resume"]:
            engine.resume(known["now"], signals)
            reference.resume(known)
        else:
            engine.step(known["now"], signals)
            reference.step(known)
        assert engine.path == "/".join(reference.path), step
        assert engine.unknowns == reference.unknowns, step
        assert (engine.ending.result if engine.ending else None) == reference.ending
        if engine.ending:
            return
        if known["end"] and is_leaf_at_work(graph, engine.path):
            engine.done() if known["end"] == "done" else engine.fail("it was to")
            reference.end(known["end"])


SISMIC_TEXT = {
    "not camera.ok": "not w['camera_ok']",
    "target.known": "w['target_known']",
    "not target.known": "not w['target_known']",
    "objects.left == 1": "w['objects_left'] == 1",
    "true": "True",
    "done": "progress.get({0!r}) == 'done'",
    "failed": "progress.get({0!r}) == 'failed'",
    "done or failed": "progress.get({0!r}) is not None",
    "not done": "progress.get({0!r}) != 'done'",
    "failed and objects.left == 1": "progress.get({0!r}) == 'failed' and w['objects_left'] == 1",
}


class Translation:
    """A behaviour as a statechart: paths are the names of its states, ``progress`` and ``entered`` its variables."""

    def __init__(self, graph):
        self.graph = graph
        self.chart = Statechart("behaviour")
        self.chart.add_state(CompoundState("/", initial=graph["start"]), None)
        self.transitions = []
        self.add(graph, "", "/", [])
        for transition in self.transitions:
            self.chart.add_transition(transition)

    def add(self, graph, path, parent, always):
        for name, state in graph["states"].items():
            here = f"{path}/{name}" if path else name
            entry = f"progress[{here!r}] = None; entered[{here!r}] = w['now']"
            if "final" in state:
                entry += f"; progress[{path!r}] = {state['final']!r}"
            kind = (
                CompoundState(here, f"{here}/{state['start']}", entry) if "states" in state else BasicState(here, entry)
            )
            self.chart.add_state(kind, parent)
            own = [] if "final" in state else [(path, one) for one in graph["always"] if name not in one["except"]]
            if "states" in state:
                self.add(state, here, here, always + own)
            else:
                self.leave(here, always + own, 1000)
            self.leave(here, [(here, one) for one in state.get("exits", [])], 500)

    def leave(self, source, ways, priority):
        for index, (scope, one) in enumerate(ways):
            outer = scope if priority == 1000 else scope.rpartition("/")[0]
            target = f"{outer}/{one['go']}" if outer else one["go"]
            self.transitions.append(
                Transition(source, target, "step", self.guard(scope, one), priority=priority - index)
            )

    def guard(self, scope, one):
        if "after" in one:
            return f"w['now'] - entered[{scope!r}] >= {seconds(one['after'])}"
        return SISMIC_TEXT[one["when"]].format(scope)


@given(graphs(3, confirmed=False), st.integers(0, 2**32))
@settings(max_examples=200)
def test_the_engine_takes_the_same_way_as_a_statechart_interpreter(graph, seed):
    worlds = list(trace(seed, 25))
    context = {"progress": {}, "entered": {"": 0}, "w": dict(worlds[0])}
    clock = SimulatedClock()
    chart = Interpreter(Translation(graph).chart, initial_context=context, clock=clock)
    engine = engine_of(graph)
    engine.begin(0, signals_of(worlds[0]))
    chart.execute()
    for known in worlds[1:]:
        chart.context["w"].clear()
        chart.context["w"].update(known)
        clock.time = known["now"] * 1e-9
        chart.queue("step").execute_once()
        engine.step(known["now"], signals_of(known))
        assert chart.configuration[-1] == engine.path
        if engine.ending:
            assert engine.ending.result == chart.context["progress"][""]
            return
        if known["end"] and is_leaf_at_work(graph, engine.path):
            engine.done() if known["end"] == "done" else engine.fail("it was to")
            chart.context["progress"][engine.path] = known["end"]
