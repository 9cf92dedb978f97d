"""Behaviour file -> `BehaviourGraph`: parts read in, names resolved, conditions and values checked.

Every mistake is noted in the source it stands in; none stops the others from being found.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rover import quantities
from rover.behaviour import conditions
from rover.behaviour.conditions import ConditionError, Expression, Scope, Setting
from rover.behaviour.model import (
    AT_ONCE,
    BehaviourGraph,
    Confirmation,
    Counted,
    ExitNode,
    GraphNode,
    Lasting,
    ParameterValue,
    StateNode,
    Where,
)
from rover.behaviour.vocabulary import PLACES, ActivitySpec, Choice, Kind, Number, Parameter, PlaceName, Truth, WallName
from rover.files import load
from rover.files.behaviour import Behaviour, Exit, State
from rover.files.errand import Errand
from rover.files.problems import FileProblems, Problem, nearest
from rover.files.types import loose
from rover.files.yaml_source import Source
from rover.quantities import QuantityError

_COUNTED = re.compile(r"(\d{1,4})\s+of\s+(\d{1,4})")
_WORD = re.compile(r"[a-z][a-z0-9_]*")
MOST_SAMPLES = 1000

At = tuple[str | int, ...]


@dataclass(frozen=True)
class Override:
    """A setting's value from elsewhere, and how to say there that it does not fit."""

    value: Any
    refuse: Callable[[str], None]


@dataclass
class Builder:
    """Builds one behaviour.

    Attributes:
        activities: what the language knows of each activity by name; a dotted name that is not here is a user's own.
        errand: the errand, for the names of kinds and places; None when a behaviour is looked at by itself.
        overrides: settings that the errand file or the command line sets.
        parts: the part files read, by name.
    """

    activities: Mapping[str, ActivitySpec]
    errand: Errand | None = None
    overrides: Mapping[str, Override] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    exits: int = 0
    user_activities: dict[str, None] = field(default_factory=dict)
    parts: dict[str, Source] = field(default_factory=dict)

    def build(self, loaded: load.Loaded[Behaviour]) -> BehaviourGraph:
        """Return the graph of a behaviour file.

        Raises:
            FileProblems: every mistake in it and its parts.
        """
        settings = self._overridden(self._settings(loaded, {}))
        reader = _FileReader(self, loaded.source, Scope(settings, words=self._kinds()), (loaded.source.path.resolve(),))
        top = reader.graph("", loaded.model.start, loaded.model.always, loaded.model.states, ())
        self.problems += loaded.source.problems
        if self.problems:
            raise FileProblems(self.problems)
        return BehaviourGraph(loaded.model.behaviour, top, {state.path: state for state in top.walk()})

    def _kinds(self) -> frozenset[str]:
        return frozenset(self.errand.kinds) | {"none"} if self.errand else frozenset()

    def _settings(self, loaded: load.Loaded[Behaviour], given: Mapping[str, Setting]) -> dict[str, Setting]:
        """Return the settings of a file: as it declares them, unless given by the ``with`` of what names it."""
        settings: dict[str, Setting] = {}
        for name, value in loaded.model.settings.items():
            try:
                settings[name] = given.get(name) or setting_of(value)
            except QuantityError as error:
                loaded.source.report(("settings", name), str(error))
                settings[name] = Setting(None, Truth(), faulty=True)
        return settings

    def _overridden(self, declared: Mapping[str, Setting]) -> dict[str, Setting]:
        """Return the settings with the overrides in place; one that does not fit is refused where it stands."""
        settings = dict(declared)
        for name, override in self.overrides.items():
            if name not in declared or declared[name].faulty:
                continue
            try:
                setting = setting_of(override.value)
            except QuantityError as error:
                override.refuse(str(error))
                continue
            if _same_kind(setting.kind, declared[name].kind):
                settings[name] = setting
            else:
                override.refuse(f"this setting is {declared[name].kind}, but here it is {setting.kind}")
        return settings


def setting_of(value: Any) -> Setting:
    """Return a setting's value with its kind, from a value out of a file or the command line."""
    if isinstance(value, bool):
        return Setting(value, Truth())
    if isinstance(value, int):
        return Setting(value, Number(whole=True))
    if isinstance(value, str) and _WORD.fullmatch(value):
        return Setting(value, Choice())
    if isinstance(value, (str, float)):
        quantity = quantities.parse(value if isinstance(value, str) else repr(value))
        return Setting(quantity.value, Number(quantity.dimension))
    raise QuantityError("a setting is a quantity such as '22 cm', a whole number, true, false or a word")


def _same_kind(one: Kind, other: Kind) -> bool:
    if isinstance(one, Number) and isinstance(other, Number):
        return one.dimension == other.dimension and (one.whole or not other.whole)
    return type(one) is type(other)


def unknown_settings(names: Mapping[str, Any], behaviour: Behaviour) -> list[tuple[str, str]]:
    """Return (name, why) for each override that the behaviour does not declare."""
    known = behaviour.settings
    return [
        (name, f"the behaviour has no setting '{name}'{nearest(name, known)}") for name in names if name not in known
    ]


@dataclass
class _FileReader:
    """Reads the states of one file into nodes."""

    builder: Builder
    source: Source
    scope: Scope
    open_files: tuple[Path, ...]
    inside: At = ()

    def graph(self, path: str, start: str, always: list[Exit], states: Mapping[str, State], at: At) -> GraphNode:
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
            self._known(state.tries.go, siblings, (*at, "tries", "go"))
            diversion = _joined(node.parent, state.tries.go)
            node = replace(node, at_most=state.tries.at_most, diversion=diversion)
        if state.does is not None:
            return replace(node, activity=state.does, given=self._given(state.does, state.values, at))
        if state.part is not None:
            return replace(node, graph=self._part(path, state, at))
        if state.states is not None and state.start is not None:
            return replace(node, graph=self.graph(path, state.start, state.always, state.states, at))
        return node

    def _known(self, name: str, siblings: list[str], at: At) -> None:
        if name not in siblings:
            self.source.report(at, f"there is no state '{name}' in this graph{nearest(name, siblings)}")

    def _exits(
        self, exits: list[Exit], graph: str, siblings: list[str], at: At, *, in_state: bool
    ) -> tuple[ExitNode, ...]:
        return tuple(self._exit(one, graph, siblings, (*at, index), in_state) for index, one in enumerate(exits))

    def _exit(self, one: Exit, graph: str, siblings: list[str], at: At, in_state: bool) -> ExitNode:
        self._known(one.go, siblings, (*at, "go"))
        for index, name in enumerate(one.silent_in):
            where = (*at, "except", index) if (*at, "except", index) in self.source.value_spots else (*at, "except")
            self._known(name, siblings, where)
        if in_state and one.silent_in:
            self.source.report((*at, "except"), "'except' goes with the exits under 'always'", of_key=True)
        if not in_state and one.go not in one.silent_in:
            self.source.report(
                (*at, "go"),
                f"this would re-enter '{one.go}' again and again; write except: [{one.go}] beside it",
            )
        scope = replace(self.scope, outcomes=in_state)
        number, self.builder.exits = self.builder.exits, self.builder.exits + 1
        return ExitNode(
            number,
            _text_of(one),
            self._where(at, of_key=False),
            _joined(graph, one.go),
            self._condition(one.when, (*at, "when"), scope),
            self._condition(one.until, (*at, "until"), scope),
            None if one.after is None else self._time(one.after, (*at, "after")),
            self._confirmation(one.confirm, (*at, "confirm")),
            frozenset(one.silent_in),
        )

    def _report_part(self, at: At, error: ConditionError, text: str) -> None:
        if error.follows_up:
            return
        spot = self.source.spot(at)
        plain = spot.text == text
        column = spot.column + (error.offset if plain else 0)
        shown = error.part or text
        self.source.problems.append(Problem(self.source.name, spot.line, column, shown, str(error)))

    def _condition(self, text: str | None, at: At, scope: Scope) -> Expression | None:
        if text is None:
            return None
        try:
            return conditions.read_condition(text, scope)
        except ConditionError as error:
            self._report_part(at, error, text)
            return None

    def _constant(self, text: str, at: At, dimension: quantities.Dimension) -> float:
        """Return a value of a dimension that is fixed before the run: a quantity or made of settings."""
        try:
            if ":" in text:
                hint = f"{quantities.name_of(dimension)} is due here ({quantities.units_for(dimension)})"
                raise ConditionError(hint, text)
            expression = conditions.read_expression(text, replace(self.scope, signals=False))
            if not isinstance(expression.kind, Number) or expression.kind.dimension != dimension:
                hint = quantities.units_for(dimension)
                raise ConditionError(f"{quantities.name_of(dimension)} is due here ({hint})", text)
            value = conditions.evaluator(expression)(None)
            if value <= 0:
                raise ConditionError(f"{quantities.name_of(dimension)} more than zero is due here", text)
            return float(value)
        except ConditionError as error:
            self._report_part(at, error, text)
            return 1.0

    def _time(self, text: str, at: At) -> int:
        return round(self._constant(text, at, quantities.TIME) * 1e9)

    def _confirmation(self, text: str | None, at: At) -> Confirmation:
        if text is None:
            return AT_ONCE
        if text.startswith("for "):
            return Lasting(self._time(text[4:].strip(), at))
        match = _COUNTED.fullmatch(text.strip())
        if match is None:
            self.source.report(at, "a confirmation is '3 of 5' (samples) or 'for 2 s' (a span)")
            return AT_ONCE
        needed, of = int(match[1]), int(match[2])
        if not 1 <= needed <= of <= MOST_SAMPLES:
            self.source.report(at, f"'{text}' can never be: k of n needs 1 <= k <= n <= {MOST_SAMPLES}")
        return Counted(needed, of)

    def _given(self, activity: str, values: Mapping[str, Any], at: At) -> dict[str, ParameterValue]:
        spec = self.builder.activities.get(activity)
        if spec is None:
            if ":" in activity:
                self.builder.user_activities[activity] = None
                return {name: ParameterValue(loose(value)) for name, value in values.items()}
            hint = nearest(activity, self.builder.activities)
            self.source.report((*at, "does"), f"there is no activity '{activity}'{hint}")
            return {}
        for name, parameter in spec.parameters.items():
            if parameter.required and name not in values:
                self.source.report((*at, "does"), f"'{activity}' needs 'with: {{{name}: ...}}' ({parameter.about})")
        if spec.one_of and sum(name in values for name in spec.one_of) != 1:
            self.source.report((*at, "does"), f"'{activity}' needs one of {' or '.join(spec.one_of)} under 'with'")
        given = {}
        for name, value in values.items():
            due = spec.parameters.get(name)
            where = (*at, "with", name)
            if due is None:
                hint = nearest(name, spec.parameters) or "; it takes none"
                self.source.report(where, f"'{activity}' has no parameter '{name}'{hint}", of_key=True)
                continue
            given[name] = self._value(value, due, where)
        return given

    def _value(self, value: Any, parameter: Parameter, at: At) -> ParameterValue:
        try:
            given = self._read_value(value, parameter.kind)
            if parameter.positive and given.expression is None and given.constant <= 0:
                raise QuantityError(f"{parameter.kind} more than zero is due here")
            return given
        except ConditionError as error:
            self._report_part(at, error, str(value))
        except QuantityError as error:
            self.source.report(at, str(error))
        return ParameterValue()

    def _read_value(self, value: Any, kind: Kind) -> ParameterValue:
        if isinstance(kind, PlaceName):
            return ParameterValue(self._place(value))
        if isinstance(kind, WallName):
            return ParameterValue(self._wall(value))
        if isinstance(kind, Choice) and kind.words and isinstance(value, str) and value in kind.words:
            return ParameterValue(value)
        if isinstance(value, (list, dict)) or value is None:
            raise QuantityError(f"{kind} is due here")
        text = str(value).lower() if isinstance(value, bool) else str(value)
        expression = conditions.read_expression(text, replace(self.scope, words=frozenset()))
        expected = Number(kind.dimension) if isinstance(kind, Number) else kind
        if not _same_kind(expression.kind, kind if isinstance(kind, Number) and kind.whole else expected):
            raise ConditionError(f"{kind} is due here{_unit_hint(kind)}, but this is {expression.kind}", text)
        if not expression.constant:
            return ParameterValue(expression=expression)
        constant = conditions.evaluator(expression)(None)
        if isinstance(kind, Choice) and kind.words and constant not in kind.words:
            raise ConditionError(f"{kind} is due here", text)
        return ParameterValue(constant)

    def _wall(self, value: Any) -> str:
        walls = self.builder.errand.field.walls if self.builder.errand else None
        if not isinstance(value, str) or (walls is not None and value not in walls):
            raise QuantityError(f"the errand has no wall '{value}'{nearest(str(value), walls or ())}")
        return value

    def _place(self, value: Any) -> Any:
        if isinstance(value, list):
            if len(value) != 2:
                raise QuantityError("a point [x, y] is due here, such as [1.5 m, 40 cm]")
            return tuple(quantities.parse_as(part, quantities.LENGTH) for part in value)
        if not isinstance(value, str):
            raise QuantityError("a place is due here: a name such as field.start, or a point [1 m, 2 m]")
        if value.startswith("settings."):
            setting = self.scope.settings.get(value[9:])
            raise QuantityError(
                "a setting cannot hold a place; name it in the errand file under 'places'"
                if setting
                else f"there is no setting '{value[9:]}'"
            )
        own = self.builder.errand.field.places if self.builder.errand else None
        if value.startswith("field.places."):
            if own is not None and value[13:] not in own:
                raise QuantityError(f"the errand has no place '{value[13:]}'{nearest(value[13:], own)}")
            return value
        if value not in PLACES:
            raise QuantityError(f"'{value}' is no place{nearest(value, [*PLACES, 'field.places.<name>'])}")
        return value

    def _part(self, path: str, state: State, at: At) -> GraphNode | None:
        assert state.part is not None
        loaded = self._part_file(state.part, (*at, "from"))
        if loaded is None:
            return None
        self.builder.parts[loaded.source.name] = loaded.source
        for name, why in unknown_settings(state.values, loaded.model):
            self.source.report((*at, "with", name), why.replace("the behaviour", f"'{state.part}'"), of_key=True)
        given = self._part_settings(state, loaded, at)
        settings = self.builder._settings(loaded, given)
        reader = _FileReader(
            self.builder,
            loaded.source,
            replace(self.scope, settings=settings),
            (*self.open_files, loaded.source.path.resolve()),
        )
        graph = reader.graph(path, loaded.model.start, loaded.model.always, loaded.model.states, ())
        self.builder.problems += loaded.source.problems
        return graph

    def _part_file(self, text: str, at: At) -> load.Loaded[Behaviour] | None:
        file = load.named_in(self.source, at, text)
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

    def _part_settings(self, state: State, loaded: load.Loaded[Behaviour], at: At) -> dict[str, Setting]:
        given = {}
        for name, value in state.values.items():
            if name not in loaded.model.settings:
                continue
            try:
                text = str(value).lower() if isinstance(value, bool) else str(value)
                declared = setting_of(loaded.model.settings[name])
                if isinstance(declared.kind, Choice) and _WORD.fullmatch(text):
                    given[name] = Setting(text, declared.kind)
                    continue
                expression = conditions.read_expression(text, replace(self.scope, signals=False))
                if not _same_kind(expression.kind, declared.kind):
                    raise ConditionError(f"{declared.kind} is due here, but this is {expression.kind}", text)
                given[name] = Setting(conditions.evaluator(expression)(None), declared.kind)
            except ConditionError as error:
                self._report_part((*at, "with", name), error, str(value))
            except QuantityError:
                continue  # the part's own declaration is at fault, and noted there
        return given


def _joined(path: str, name: str) -> str:
    return f"{path}/{name}" if path else name


def _unit_hint(kind: Kind) -> str:
    return f" ({quantities.units_for(kind.dimension)})" if isinstance(kind, Number) else ""


def _text_of(one: Exit) -> str:
    if one.after is not None:
        return f"after {one.after}"
    until = f" until {one.until}" if one.until else ""
    return f"when {one.when}{until}" + (f" confirm {one.confirm}" if one.confirm else "")
