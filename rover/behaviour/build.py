"""Behaviour file -> `BehaviourGraph`: parts read in, names of states resolved, each value with its place.

Every mistake is noted in the source it stands in; none stops the others from being found.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rover.behaviour.conditions import Scope
from rover.behaviour.model import BehaviourGraph, ExitNode, GraphNode, ParameterValue, StateNode, Where
from rover.behaviour.settings import Override, SettingValue, declared_in, overridden, unknown_settings
from rover.behaviour.values import At, ValueReader
from rover.behaviour.vocabulary import SIGNALS, ActivitySpec, Signal
from rover.files import load
from rover.files.behaviour import Behaviour, Exit, State
from rover.files.errand import Errand
from rover.files.problems import FileProblems, Problem, nearest
from rover.files.types import loose
from rover.files.yaml_source import Source

BY_ERRAND = "; one of a device of your own is known where an errand names the robot: check that"


@dataclass
class Builder:
    """Builds one behaviour.

    Attributes:
        activities: what the language knows of each activity by name; a dotted name that is not here is a user's own.
        errand: for the names of kinds and places; None when a behaviour is looked at by itself.
        signals: those that conditions may name.
        robot_is_known: else nothing tells which outputs there are.
        overrides: settings that the errand file or the command line sets.
        problems, exits: what is wrong and how many exits there are, as far as it was read.
        user_activities: dotted names of the activities that it uses, in the file's order.
        parts: the part files read, by name.
    """

    activities: Mapping[str, ActivitySpec]
    errand: Errand | None = None
    overrides: Mapping[str, Override] = field(default_factory=dict)
    signals: Mapping[str, Signal] = field(default_factory=lambda: SIGNALS)
    robot_is_known: bool = True
    problems: list[Problem] = field(default_factory=list)
    exits: int = 0
    user_activities: dict[str, None] = field(default_factory=dict)
    parts: dict[str, Source] = field(default_factory=dict)

    def build(self, loaded: load.Loaded[Behaviour]) -> BehaviourGraph:
        """Return the graph of a behaviour file.

        Raises:
            FileProblems: every mistake in it and its parts.
        """
        top = _FileReader(self, loaded, overridden(declared_in(loaded, {}), self.overrides)).read("")
        if self.problems:
            raise FileProblems(self.problems)
        return BehaviourGraph(loaded.model.behaviour, top, {state.path: state for state in top.walk()})


class _FileReader:
    """Reads the states of one file into nodes. ``within``: the files that name it as a part, outermost first."""

    def __init__(
        self,
        builder: Builder,
        loaded: load.Loaded[Behaviour],
        settings: Mapping[str, SettingValue],
        within: tuple[Path, ...] = (),
    ) -> None:
        self.builder = builder
        self.model = loaded.model
        self.source = loaded.source
        self.open_files = (*within, loaded.source.path.resolve())
        kinds = frozenset({*builder.errand.kinds, "none"} if builder.errand else ())
        elsewhere = "" if builder.robot_is_known else BY_ERRAND
        scope = Scope(settings, words=kinds, known=builder.signals, else_known=elsewhere)
        self.values = ValueReader(loaded.source, scope, builder.errand)

    def read(self, path: str) -> GraphNode:
        """Return the graph of the whole file, which the state at a path is; its problems go to the builder."""
        graph = self._graph(path, self.model.start, self.model.always, self.model.states, ())
        self.builder.problems += self.source.problems
        return graph

    def _graph(self, path: str, start: str, always: list[Exit], states: Mapping[str, State], at: At) -> GraphNode:
        names = list(states)
        if start not in states:
            self.source.report((*at, "start"), f"there is no state '{start}' here{nearest(start, names)}")
        nodes = {
            name: self._state(_joined(path, name), state, names, (*at, "states", name))
            for name, state in states.items()
        }
        always_nodes = self._exits(always, path, names, (*at, "always"), in_state=False)
        return GraphNode(path, self._where(at or ("behaviour",)), start, always_nodes, nodes)

    def _where(self, at: At, of_key: bool = True) -> Where:
        spot = self.source.spot(at, of_key)
        return Where(self.source.name, spot.line, spot.column)

    def _state(self, path: str, state: State, siblings: list[str], at: At) -> StateNode:
        node = StateNode(
            path,
            self._where(at),
            final=state.final,
            exits=self._exits(state.exits, path.rpartition("/")[0], siblings, (*at, "exits"), in_state=True),
        )
        if state.tries is not None:
            self._check_state(state.tries.go, siblings, (*at, "tries", "go"))
            diversion = _joined(node.parent, state.tries.go)
            node = replace(node, at_most=state.tries.at_most, diversion=diversion)
        if state.does is not None:
            return replace(node, activity=state.does, parameters=self._parameters(state.does, state.values, at))
        if state.part is not None:
            return replace(node, graph=self._part(path, state.part, state.values, at))
        if state.states is not None and state.start is not None:
            return replace(node, graph=self._graph(path, state.start, state.always, state.states, at))
        return node

    def _check_state(self, name: str, siblings: list[str], at: At) -> None:
        if name not in siblings:
            self.source.report(at, f"there is no state '{name}' in this graph{nearest(name, siblings)}")

    def _exits(
        self, exits: list[Exit], graph: str, siblings: list[str], at: At, *, in_state: bool
    ) -> tuple[ExitNode, ...]:
        return tuple(self._exit(one, graph, siblings, (*at, index), in_state) for index, one in enumerate(exits))

    def _exit(self, one: Exit, graph: str, siblings: list[str], at: At, in_state: bool) -> ExitNode:
        self._check_state(one.go, siblings, (*at, "go"))
        for index, name in enumerate(one.silent_in):
            where = (*at, "except", index) if (*at, "except", index) in self.source.value_spots else (*at, "except")
            self._check_state(name, siblings, where)
        if in_state and one.silent_in:
            self.source.report((*at, "except"), "'except' goes with the exits under 'always'", of_key=True)
        if not in_state and one.go not in one.silent_in:
            why = f"this would re-enter '{one.go}' again and again; write except: [{one.go}] beside it"
            self.source.report((*at, "go"), why)
        number, self.builder.exits = self.builder.exits, self.builder.exits + 1
        return ExitNode(
            number,
            _text_of(one),
            self._where(at, of_key=False),
            _joined(graph, one.go),
            self.values.condition(one.when, (*at, "when"), outcomes=in_state),
            self.values.condition(one.until, (*at, "until"), outcomes=in_state),
            None if one.after is None else self.values.time_ns(one.after, (*at, "after")),
            self.values.confirmation(one.confirm, (*at, "confirm")),
            frozenset(one.silent_in),
        )

    def _parameters(self, activity: str, values: Mapping[str, Any], at: At) -> dict[str, ParameterValue]:
        spec = self.builder.activities.get(activity)
        if spec is None:
            if ":" in activity:
                self.builder.user_activities[activity] = None
                return {name: ParameterValue(loose(value), text=_written(value)) for name, value in values.items()}
            hint = nearest(activity, self.builder.activities)
            self.source.report((*at, "does"), f"there is no activity '{activity}'{hint}")
            return {}
        if spec.of_outputs and not values:
            self.source.report((*at, "does"), f"'{activity}' needs 'with: {{<output>: ...}}'")
        if spec.of_outputs and not self.builder.robot_is_known:
            return {name: ParameterValue(loose(value), text=_written(value)) for name, value in values.items()}
        for name, parameter in spec.parameters.items():
            if parameter.required and name not in values:
                self.source.report((*at, "does"), f"'{activity}' needs 'with: {{{name}: ...}}' ({parameter.about})")
        if spec.one_of and sum(name in values for name in spec.one_of) != 1:
            self.source.report((*at, "does"), f"'{activity}' needs one of {' or '.join(spec.one_of)} under 'with'")
        read = {}
        for name, value in values.items():
            due = spec.parameters.get(name)
            where = (*at, "with", name)
            if due is None:
                what = (
                    f"the robot has no output '{name}'"
                    if spec.of_outputs
                    else f"'{activity}' has no parameter '{name}'"
                )
                hint = nearest(name, spec.parameters) or "; it takes none"
                self.source.report(where, f"{what}{hint}", of_key=True)
                continue
            read[name] = replace(self.values.parameter(value, due, where), text=_written(value))
        return read

    def _part(self, path: str, file: str, values: Mapping[str, Any], at: At) -> GraphNode | None:
        loaded = self._part_file(file, (*at, "from"))
        if loaded is None:
            return None
        self.builder.parts[loaded.source.name] = loaded.source
        for name, why in unknown_settings(values, loaded.model, f"'{file}'"):
            self.source.report((*at, "with", name), why, of_key=True)
        declared = loaded.model.settings
        given = {
            name: setting
            for name, value in values.items()
            if name in declared and (setting := self.values.setting(value, declared[name], (*at, "with", name)))
        }
        return _FileReader(self.builder, loaded, declared_in(loaded, given), self.open_files).read(path)

    def _part_file(self, text: str, at: At) -> load.Loaded[Behaviour] | None:
        file = load.named_in(self.source, at, "behaviour", text)
        if file is None:
            return None
        if file in self.open_files:
            ring = " -> ".join(one.name for one in (*self.open_files[self.open_files.index(file) :], file))
            self.source.report(at, f"a part cannot contain itself: {ring}")
            return None
        try:
            return load.follow(self.source, at, "behaviour", text)
        except FileProblems as error:
            self.builder.problems += error.problems
            return None


def _joined(path: str, name: str) -> str:
    return f"{path}/{name}" if path else name


def _written(value: Any) -> str:
    """Return a parameter's value as it stands in a file."""
    if isinstance(value, list):
        return f"[{', '.join(map(_written, value))}]"
    return str(value).lower() if isinstance(value, bool) else str(value)


def _text_of(one: Exit) -> str:
    if one.after is not None:
        return f"after {one.after}"
    until = f" until {one.until}" if one.until else ""
    return f"when {one.when}{until}" + (f" confirm {one.confirm}" if one.confirm else "")
