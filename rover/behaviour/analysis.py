"""What is wrong with a behaviour although every line of it can be read: rules R1, R9, R14 and what the robot lacks."""

import math
from collections.abc import Iterable, Iterator, Mapping

from rover.behaviour.expression import could_be
from rover.behaviour.model import AT_ONCE, BehaviourGraph, ExitNode, GraphNode, StateNode, Where
from rover.behaviour.vocabulary import FAMILIES, GRIP, ActivitySpec, Signal, signals_of
from rover.files.errand import Kind
from rover.files.grip import none_tells
from rover.files.problems import Problem
from rover.files.robot import Robot

NO_KINDS: Mapping[str, Kind] = {}


def examine(
    graph: BehaviourGraph,
    activities: Mapping[str, ActivitySpec],
    robot: Robot | None,
    kinds: Mapping[str, Kind] = NO_KINDS,
) -> list[Problem]:
    """Return every problem and warning of a behaviour, for a robot where one is given, and what it is to hold."""
    problems = list(_structure(graph, activities))
    if robot is not None:
        problems += _robot(graph, activities, robot)
        problems += _unknowable_grip(graph, robot, kinds)
    return sorted(set(problems))


def _problem(where: Where, text: str, why: str, warning: bool = False) -> Problem:
    return Problem(where.file, where.line, where.column, text, why, warning)


def _structure(graph: BehaviourGraph, activities: Mapping[str, ActivitySpec]) -> Iterator[Problem]:
    yield from _rings_of_diversions(graph)
    for part in graph.top.graphs():
        yield from _unreachable(part)
        yield from _unbounded_cycles(graph, part)
        yield from _dead_always(part)
    for one in graph.exits():
        yield from _leads_to_unsure_target(graph, one)
    for state in graph.states.values():
        if state.final is None:
            yield from _exits_due(graph, state, activities)
            yield from _dead_exits(state, activities)
    if not any(state.final for state in graph.top.states.values()):
        yield _problem(graph.top.where, "", "the behaviour never ends: it needs a state with 'final: done' or 'failed'")


def _edges(part: GraphNode) -> dict[str, set[str]]:
    """Return, by name, the states each state of a graph may lead to."""
    names = {state.path: name for name, state in part.states.items()}
    edges: dict[str, set[str]] = {}
    for name, state in part.states.items():
        targets = [one.go for one in state.exits]
        if state.final is None:
            targets += [one.go for one in part.always if name not in one.silent_in]
        edges[name] = {names[target] for target in targets if target in names}
    return edges


def _with_diversions(part: GraphNode, edges: Mapping[str, set[str]]) -> dict[str, set[str]]:
    diverted = {name: [_name(state.diversion)] for name, state in part.states.items() if state.diversion}
    return {name: _reached(diverted, targets) for name, targets in edges.items()}


def _name(path: str) -> str:
    return path.rpartition("/")[2]


def _reached(edges: Mapping[str, Iterable[str]], starts: Iterable[str]) -> set[str]:
    """Return what can be reached from some states, they themselves included."""
    seen: set[str] = set()
    todo = list(starts)
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo.extend(edges.get(name, ()))
    return seen


def _reachable(part: GraphNode) -> set[str]:
    return _reached(_with_diversions(part, _edges(part)), [part.start])


def _unreachable(part: GraphNode) -> Iterator[Problem]:
    for name in part.states.keys() - _reachable(part):
        yield _problem(part.states[name].where, name, "no exit leads to this state; remove it or let one go there")


def _rings_of_diversions(graph: BehaviourGraph) -> Iterator[Problem]:
    reported: set[str] = set()
    for state in graph.states.values():
        if state.path in reported:
            continue
        seen, current = [state.path], state.diversion
        while current is not None and current in graph.states and current not in seen:
            seen.append(current)
            current = graph.states[current].diversion
        if current == state.path:
            reported.update(seen)
            ring = " -> ".join(_name(path) for path in (*seen, current))
            yield _problem(state.where, state.name, f"tries that are used up would go in a ring: {ring}")


def _unbounded_cycles(graph: BehaviourGraph, part: GraphNode) -> Iterator[Problem]:
    """R14: every cycle has a ``tries`` in it or a timed way out round it."""
    if _timed_round(graph, part.path):
        return
    bounding = [one for one in part.always if one.after_ns is not None]
    counted = {name for name, state in part.states.items() if state.at_most is not None}
    landings = _with_diversions(part, {one.go: {_name(one.go)} for one in bounding})
    for cycle in _cycles(_with_diversions(part, _edges(part)), counted):
        if any(not cycle <= one.silent_in and not cycle & landings[one.go] for one in bounding):
            continue
        first = min((part.states[name] for name in cycle), key=lambda state: (state.where.line, state.where.column))
        names = ", ".join(name for name in part.states if name in cycle)
        why = (
            f"nothing bounds the cycle through {names}: give one of them 'tries: {{at_most: ..., go: ...}}', "
            "or the graph an 'always' exit with 'after'"
        )
        yield _problem(first.where, first.name, why)


def _timed_round(graph: BehaviourGraph, path: str) -> bool:
    """Tell whether an enclosing state is left after a time whatever happens inside.

    Only 'always' does that: a state's own exits come after those inside it, and a cycle inside may fire in every step.
    """
    while path:
        state = graph.states[path]
        parent = graph.top if not state.parent else graph.states[state.parent].graph
        assert parent is not None
        if any(one.after_ns is not None and state.name not in one.silent_in for one in parent.always):
            return True
        path = state.parent
    return False


def _cycles(edges: Mapping[str, set[str]], without: set[str]) -> list[set[str]]:
    """Return the strongly connected sets that hold a cycle, once the counted states are taken out."""
    kept = {name: edges[name] - without for name in edges.keys() - without}
    reach = {name: _reached(kept, targets) for name, targets in kept.items()}
    found: list[set[str]] = []
    for name in reach:
        together = {other for other in reach[name] if name in reach[other]}
        if name in reach[name] and together not in found:
            found.append(together)
    return found


def _exits_due(graph: BehaviourGraph, state: StateNode, activities: Mapping[str, ActivitySpec]) -> Iterator[Problem]:
    """R14: a state that waits has a way out by time; one that can fail has an exit for it."""
    if state.graph is not None:
        if not _timed(state):
            yield from _ended_without_exit(graph, state)
        return
    spec = activities.get(state.activity or "")
    if not _timed(state) and not _encloses_timed(graph, state) and not (spec and spec.waits_for_operator):
        yield _problem(state.where, state.name, "no way out by time: give it, or a state round it, one with 'after'")
    if (spec is None or _can_fail(state, spec)) and not _leaves_on(state, "failed"):
        yield _problem(state.where, state.name, f"'{state.activity}' can fail, but no exit takes that (when: failed)")


def _can_fail(state: StateNode, spec: ActivitySpec) -> bool:
    """Tell whether a state may end failed: its activity may, or a value for it that is worked out is not known then."""
    return spec.can_fail or any(
        value.expression is not None and not value.expression.constant for value in state.parameters.values()
    )


def _ended_without_exit(graph: BehaviourGraph, state: StateNode) -> Iterator[Problem]:
    """R14: an inner graph that has ended waits too: each end needs an exit, and one that is sure or a timed way out."""
    assert state.graph is not None
    for progress in sorted(_ends_of(state.graph)):
        if not _leaves_on(state, progress):
            why = f"it can end '{progress}', but no exit takes that (when: {progress})"
            yield _problem(state.where, state.name, why)
        elif not _encloses_timed(graph, state) and not any(_sure(one, progress) for one in state.exits):
            why = f"it can end '{progress}' with no exit taken: add one with 'when: {progress}' alone, or with 'after'"
            yield _problem(state.where, state.name, why)


def _sure(one: ExitNode, progress: str) -> bool:
    """Tell whether an exit holds in every step after such an end, whatever the signals are."""
    when = one.when
    if when is None or one.devices or when.operands or when.divides:
        return False
    return could_be(when, _facts(progress)) == {True}


def _ends_of(part: GraphNode) -> set[str]:
    finals = (part.states[name].final for name in _reachable(part))
    return {final for final in finals if final is not None}


def _timed(state: StateNode) -> bool:
    return any(one.after_ns is not None for one in state.exits)


def _encloses_timed(graph: BehaviourGraph, state: StateNode) -> bool:
    return any(_timed(outer) for outer in graph.lineage(state.path)[:-1])


def _facts(progress: str) -> dict[str, bool]:
    return {"done": progress == "done", "failed": progress == "failed"}


def _leaves_on(state: StateNode, progress: str) -> bool:
    """Tell whether an exit takes such an end: one that may fire then, and not while the state goes on."""
    conditions = [one.when for one in state.exits if one.when is not None and one.when.outcomes]
    return any(True in could_be(when, _facts(progress)) for when in conditions)


def _dead_exits(state: StateNode, activities: Mapping[str, ActivitySpec]) -> Iterator[Problem]:
    possible = _possible_progress(state, activities)
    earliest = math.inf
    above: list[ExitNode] = []
    for one in state.exits:
        if one.after_ns is not None:
            if one.after_ns >= earliest:
                yield _problem(one.where, one.text, "never taken: an exit above it leaves at that time or before")
            earliest = min(earliest, one.after_ns)
        elif one.when is not None:
            if not any(True in could_be(one.when, _facts(progress)) for progress in possible):
                yield _problem(one.where, one.text, f"never taken: this state cannot end so{_only(possible)}")
            elif first := next((higher for higher in above if _overtakes(higher, one, possible)), None):
                why = f"never taken: an exit above it fires first, in line {first.where.line}; put this one above that"
                yield _problem(one.where, one.text, why)
            above.append(one)


def _overtakes(higher: ExitNode, lower: ExitNode, possible: Iterable[str]) -> bool:
    """Tell whether an exit fires whenever one below it could: it says the same, or is sure where that could be true."""
    assert lower.when is not None
    texts = [[condition.text for condition in one.conditions] for one in (higher, lower)]
    if texts[0] == texts[1] and higher.confirm in (lower.confirm, AT_ONCE):
        return True
    if higher.confirm != AT_ONCE or higher.until:
        return False
    when = lower.when
    return all(_sure(higher, progress) for progress in possible if True in could_be(when, _facts(progress)))


def _only(possible: Iterable[str]) -> str:
    endings = [progress for progress in possible if progress != "running"]
    return f" (only {' or '.join(endings)})" if endings else " (its activity goes on until it is left)"


def _possible_progress(state: StateNode, activities: Mapping[str, ActivitySpec]) -> list[str]:
    if state.graph is not None:
        return ["running", *sorted(_ends_of(state.graph))]
    spec = activities.get(state.activity or "", ActivitySpec(""))  # of a user's own, anything may be expected
    return ["running", *(["done"] if spec.ends else []), *(["failed"] if _can_fail(state, spec) else [])]


def _dead_always(part: GraphNode) -> Iterator[Problem]:
    living = {name for name, state in part.states.items() if state.final is None}
    for one in part.always:
        if living <= one.silent_in:
            yield _problem(one.where, one.text, "never taken: 'except' names every state of the graph")
        elif one.when is not None and True not in could_be(one.when, {}):
            yield _problem(one.where, one.text, "never taken: this condition is always false")


def _robot(graph: BehaviourGraph, activities: Mapping[str, ActivitySpec], robot: Robot) -> Iterator[Problem]:
    known = signals_of(robot)
    for one in graph.exits():
        yield from _lacking_signals({name: known[name] for name in one.signals}, one.where, one.text, robot)
        yield from _leads_to_need(graph, one, activities)
    for state in graph.states.values():
        spec = activities.get(state.activity or "")
        for family in spec.needs if spec else ():
            if family not in robot.devices.fitted():
                why = f"'{state.activity}' needs the device '{family}', which the robot file does not have"
                yield _problem(state.where, state.name, why)
        for value in state.parameters.values():
            if value.expression is not None:
                signals = {name: known[name] for name in value.expression.signals}
                yield from _lacking_signals(signals, state.where, value.expression.text, robot)


def _lacking_signals(signals: Mapping[str, Signal], where: Where, text: str, robot: Robot) -> Iterator[Problem]:
    fitted = robot.devices.fitted()
    for name, signal in signals.items():
        read_from = tuple(one for one in signal.devices if one != GRIP)
        families = read_from or ((name[:-3],) if name.removesuffix(".ok") in FAMILIES else ())
        lacks = [family for family in families if family not in fitted]
        if lacks:
            yield _problem(where, text, f"'{name}' needs the device '{lacks[0]}', which the robot file lacks")
        elif why := signal.lacking(robot):
            yield _problem(where, text, f"this robot cannot give '{name}': {why}")


def _unknowable_grip(graph: BehaviourGraph, robot: Robot, kinds: Mapping[str, Kind]) -> Iterator[Problem]:
    """Refuse to go by a grip of which nothing tells: once, where it is first read."""
    readers = [one for one in graph.exits() if GRIP in one.devices]
    if not readers:
        return
    if "gripper" not in robot.devices.fitted():
        why = "'grip.held' needs the device 'gripper', which the robot file lacks"
    elif not (why := none_tells(robot, kinds)):
        return
    yield _problem(readers[0].where, readers[0].text, why)


def _leads_to_need(graph: BehaviourGraph, one: ExitNode, activities: Mapping[str, ActivitySpec]) -> Iterator[Problem]:
    """Warn where an exit for a lost device leads to a state that needs it."""
    for family in FAMILIES:
        if one.when is None or f"{family}.ok" not in one.signals or True in could_be(one.when, {f"{family}.ok": True}):
            continue
        first = _first_activity(graph, one.go)
        spec = activities.get(first.activity or "")
        if spec is not None and family in spec.needs:
            why = f"leads to '{first.name}', whose activity '{first.activity}' needs {family}"
            yield _problem(one.where, one.text, why, warning=True)


def _leads_to_unsure_target(graph: BehaviourGraph, one: ExitNode) -> Iterator[Problem]:
    """Warn where a single frame leads to closing in, which gives up on a target that is not known."""
    if one.when is None or True in could_be(one.when, {"target.seen": False}):
        return
    first = _first_activity(graph, one.go)
    if first.activity == "close_in" and True in could_be(one.when, {"target.known": False}):
        why = f"leads to '{first.name}', and 'close_in' fails while the target is not known; write 'target.known'"
        yield _problem(one.where, one.text, why, warning=True)


def _first_activity(graph: BehaviourGraph, path: str) -> StateNode:
    state = graph.states[path]
    while state.graph is not None:
        state = state.graph.states[state.graph.start]
    return state
