"""The behaviour file as it is written: states, activities and exits. `behaviours/README.md` is its reference.

Only shape is checked here; what the words mean (names, units, conditions) is for `rover.behaviour`.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, StrictInt, model_validator

from rover.files.problems import meant
from rover.files.types import Due, KeyMistakeError, Model, Name, Text, keys_of


def _condition(value: Any) -> str:
    if not isinstance(value, (str, bool)) or value == "":
        raise ValueError("a condition is due here, such as 'target.seen' or 'range.distance < 30 cm'")
    return str(value).lower() if isinstance(value, bool) else value


def _duration(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError("a time is due here, such as '25 s' or 'settings.patience'")
    return str(value)


def _confirmation(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a confirmation is due here: '3 of 5' or 'for 2 s'")
    return value


def _names(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


Condition = Annotated[str, BeforeValidator(_condition), Due("condition")]


class Exit(Model):
    """A way out of a state (or, under ``always``, out of every state of the graph)."""

    model_config = ConfigDict(
        populate_by_name=True,
        json_schema_extra={
            "oneOf": [{"required": ["when"]}, {"required": ["after"]}],
            "dependencies": {"until": ["when"], "confirm": ["when"]},
        },
    )

    when: Condition | None = None
    after: Annotated[str, BeforeValidator(_duration), Due("time or expression")] | None = None
    until: Condition | None = None
    confirm: Annotated[str, BeforeValidator(_confirmation), Due("confirmation")] | None = None
    go: Name
    silent_in: Annotated[list[Name], BeforeValidator(_names), Due("name or names")] = Field(
        default_factory=list, alias="except"
    )

    @model_validator(mode="after")
    def _one_trigger(self) -> "Exit":
        if self.when is None and self.after is None:
            raise ValueError("an exit has either 'when' (a condition) or 'after' (a time)")
        if self.when is not None and self.after is not None:
            raise KeyMistakeError("after", "an exit has either 'when' or 'after', not both; write two exits")
        for key in ("until", "confirm"):
            if self.when is None and getattr(self, key) is not None:
                raise KeyMistakeError(key, f"'{key}' goes with 'when', not with 'after'")
        return self


class Tries(Model):
    """How many entries a state has since its graph was entered, and where the next one goes instead."""

    at_most: Annotated[StrictInt, Field(ge=1)]
    go: Name


_ENDS = dict.fromkeys(("exits", "tries", "with"), "a final state ends its graph: it has no 'exits', 'tries' or 'with'")
_GRAPH_KEYS = dict.fromkeys(("start", "always"), "'start' and 'always' go with 'states'")
_NOT_WITH = {  # what makes a state -> keys that it cannot have, and why
    "does": _GRAPH_KEYS,
    "from": _GRAPH_KEYS,
    "final": _ENDS | _GRAPH_KEYS,
    "states": {"with": "'with' goes with 'does' or 'from'"},
}


class State(Model):
    """One state: it does an activity, or is a graph of its own (written out or from a file), or ends its graph."""

    model_config = ConfigDict(
        populate_by_name=True,
        json_schema_extra={
            "oneOf": [{"required": [nature]} for nature in _NOT_WITH],
            "dependencies": {
                "states": ["start"],
                "start": ["states"],
                "always": ["states"],
                "with": {"anyOf": [{"required": ["does"]}, {"required": ["from"]}]},
                "exits": {"not": {"required": ["final"]}},
                "tries": {"not": {"required": ["final"]}},
            },
        },
    )

    does: Text | None = None
    values: dict[Name, Any] = Field(default_factory=dict, alias="with")
    part: Text | None = Field(default=None, alias="from")
    tries: Tries | None = None
    exits: list[Exit] = Field(default_factory=list)
    final: Literal["done", "failed"] | None = None
    start: Name | None = None
    always: list[Exit] = Field(default_factory=list)
    states: "dict[Name, State] | None" = None

    @classmethod
    def why_unknown(cls, key: str) -> str:
        """See `Model.why_unknown`; what an activity takes is often written beside it."""
        why = super().why_unknown(key)
        return why if meant(key, keys_of(cls)) else f"{why}; what an activity takes goes into 'with: {{{key}: ...}}'"

    @model_validator(mode="after")
    def _one_nature(self) -> "State":
        natures = {"does": self.does, "from": self.part, "final": self.final, "states": self.states}
        given = [key for key, value in natures.items() if value is not None]
        if len(given) != 1:
            both = " and ".join(f"'{key}'" for key in given)
            stand = f"not {both} together" if given else "and none is there"
            raise ValueError(f"a state has one of 'does', 'from', 'states' or 'final', {stand}")
        for key in self._written() & _NOT_WITH[given[0]].keys():
            raise KeyMistakeError(key, _NOT_WITH[given[0]][key])
        if self.states is not None and self.start is None:
            raise ValueError("a state with 'states' needs 'start', the state it begins with")
        return self

    def _written(self) -> set[str]:
        return {type(self).model_fields[name].alias or name for name in self.model_fields_set}


class Behaviour(Model):
    """A whole behaviour file; one that another file names under ``from`` has the same form."""

    behaviour: Text
    settings: dict[Name, Any] = Field(default_factory=dict)
    start: Name
    always: list[Exit] = Field(default_factory=list)
    states: dict[Name, State] = Field(min_length=1)
