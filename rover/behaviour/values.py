"""What stands behind the keys of a behaviour file -> conditions, times, confirmations and parameters, checked."""

import re
from dataclasses import dataclass, replace
from typing import Any

from rover import quantities
from rover.behaviour.conditions import Scope, read_condition, read_expression
from rover.behaviour.expression import Expression, evaluator
from rover.behaviour.model import AT_ONCE, Confirmation, Counted, Lasting, ParameterValue
from rover.behaviour.settings import SettingValue, is_word, same_kind, setting_of
from rover.behaviour.syntax import ConditionError
from rover.behaviour.vocabulary import PLACES, Parameter
from rover.files.errand import Errand
from rover.files.problems import Problem, nearest
from rover.files.types import point
from rover.files.yaml_source import Source
from rover.kinds import Choice, Kind, Number, PlaceName, Truth, WallName
from rover.quantities import QuantityError

_COUNTED = re.compile(r"(\d{1,4})\s+of\s+(\d{1,4})")
MOST_SAMPLES = 1000

At = tuple[str | int, ...]
"""A place in a file: the keys and indices that lead there."""


@dataclass(frozen=True)
class ValueReader:
    """Reads the values of one file. A mistake is noted in its source, and something harmless stands in its place.

    Attributes:
        errand: for the names of walls and places; None when a behaviour is looked at by itself.
    """

    source: Source
    scope: Scope
    errand: Errand | None

    def condition(self, text: str | None, at: At, *, outcomes: bool) -> Expression | None:
        """Return a condition, if there is one; ``outcomes``: it may read ``done`` and ``failed``."""
        if text is None:
            return None
        try:
            return read_condition(text, replace(self.scope, outcomes=outcomes))
        except ConditionError as error:
            self._report(at, error, text)
            return None

    def time_ns(self, text: str, at: At) -> int:
        """Return a time that is fixed before the run: a quantity or made of settings."""
        due = f"a time is due here ({quantities.units_for(quantities.TIME)})"
        try:
            if ":" in text:
                raise ConditionError(due, text)
            expression = read_expression(text, replace(self.scope, signals=False))
            if not same_kind(expression.kind, Number(quantities.TIME)):
                raise ConditionError(due, text)
            seconds = evaluator(expression)(None)
            if seconds <= 0:
                raise ConditionError("a time more than zero is due here", text)
            return round(float(seconds) * 1e9)
        except ConditionError as error:
            self._report(at, error, text)
            return 1

    def confirmation(self, text: str | None, at: At) -> Confirmation:
        """Return what ``confirm`` means."""
        if text is None:
            return AT_ONCE
        if text.startswith("for "):
            return Lasting(self.time_ns(text[4:].strip(), at))
        match = _COUNTED.fullmatch(text.strip())
        if match is None:
            self.source.report(at, "a confirmation is '3 of 5' (samples) or 'for 2 s' (a span)")
            return AT_ONCE
        needed, of = int(match[1]), int(match[2])
        if not 1 <= needed <= of <= MOST_SAMPLES:
            self.source.report(at, f"'{text}' can never be: k of n needs 1 <= k <= n <= {MOST_SAMPLES}")
        return Counted(needed, of)

    def setting(self, value: Any, declared: Any, at: At) -> SettingValue | None:
        """Return what is given for a part's setting, which the part's file declares with a value of its own."""
        text = _as_written(value)
        try:
            kind = setting_of(declared).kind
            if isinstance(kind, Choice) and is_word(text):
                return SettingValue(text, kind)
            expression = read_expression(text, replace(self.scope, signals=False))
            if not same_kind(expression.kind, kind):
                raise ConditionError(f"{kind} is due here, but this is {expression.kind}", text)
            return SettingValue(evaluator(expression)(None), kind)
        except ConditionError as error:
            self._report(at, error, str(value))
        except QuantityError:
            pass  # the part's own declaration is at fault, and noted there
        return None

    def parameter(self, value: Any, parameter: Parameter, at: At) -> ParameterValue:
        """Return the value of an activity's parameter."""
        try:
            given = self._parameter(value, parameter.kind)
            if parameter.positive and given.expression is None and given.constant <= 0:
                raise QuantityError(f"{parameter.kind} more than zero is due here")
            return given
        except ConditionError as error:
            self._report(at, error, str(value))
        except QuantityError as error:
            self.source.report(at, str(error))
        return ParameterValue()

    def _parameter(self, value: Any, kind: Kind) -> ParameterValue:
        if isinstance(kind, PlaceName):
            return ParameterValue(self._place(value))
        if isinstance(kind, WallName):
            return ParameterValue(self._wall(value))
        if isinstance(kind, Choice) and kind.words and isinstance(value, str) and value in kind.words:
            return ParameterValue(value)
        if isinstance(kind, Truth) and value in ("yes", "no"):
            return ParameterValue(value == "yes")
        if isinstance(value, (list, dict)) or value is None:
            raise QuantityError(f"{kind} is due here")
        text = _as_written(value)
        expression = read_expression(text, replace(self.scope, words=frozenset()))
        if not same_kind(expression.kind, kind):
            units = f" ({quantities.units_for(kind.dimension)})" if isinstance(kind, Number) else ""
            raise ConditionError(f"{kind} is due here{units}, but this is {expression.kind}", text)
        if not expression.constant:
            return ParameterValue(expression=expression)
        constant = evaluator(expression)(None)
        if isinstance(kind, Choice) and kind.words and constant not in kind.words:
            raise ConditionError(f"{kind} is due here", text)
        return ParameterValue(constant)

    def _wall(self, value: Any) -> str:
        walls = self.errand.field.walls if self.errand else None
        if not isinstance(value, str) or (walls is not None and value not in walls):
            raise QuantityError(f"the errand has no wall '{value}'{nearest(str(value), walls or ())}")
        return value

    def _place(self, value: Any) -> Any:
        if isinstance(value, list):
            return point(value)
        if not isinstance(value, str):
            raise QuantityError("a place is due here: a name such as field.start, or a point [1 m, 2 m]")
        if value.startswith("settings."):
            if value.removeprefix("settings.") in self.scope.settings:
                raise QuantityError("a setting cannot hold a place; name it in the errand file under 'places'")
            raise QuantityError(f"there is no setting '{value.removeprefix('settings.')}'")
        if value.startswith("field.places."):
            name = value.removeprefix("field.places.")
            if self.errand and name not in self.errand.field.places:
                raise QuantityError(f"the errand has no place '{name}'{nearest(name, self.errand.field.places)}")
        elif value not in PLACES:
            raise QuantityError(f"'{value}' is no place{nearest(value, [*PLACES, 'field.places.<name>'])}")
        return value

    def _report(self, at: At, error: ConditionError, text: str) -> None:
        if error.follows_up:
            return
        spot = self.source.spot(at)
        column = spot.column + (error.offset if spot.text == text else 0)
        self.source.problems.append(Problem(self.source.name, spot.line, column, error.part or text, str(error)))


def _as_written(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
