"""Field types of the file models: a number with its unit, a name, a range to draw from."""

import keyword
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, ClassVar, Literal, Self, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StrictInt, ValidationInfo

from rover import quantities
from rover.files.problems import nearest
from rover.quantities import Dimension, QuantityError

NAME_PATTERN = re.compile(r"[a-z][a-z0-9_]*")
_A_NAME = "a name is lower case letters, digits and underscores, a letter first"
UNKNOWN = "unknown key"
_WORDS_OF_CONDITIONS = {*(word.lower() for word in keyword.kwlist), *("done", "failed", "abs", "min", "max", "wrap")}
SHARE = "must lie between 0 % and 100 %; a number without a unit is a share by itself: 0.12 is 12 %"


@dataclass(frozen=True)
class Due:
    """Among a field's annotations: what is due there, as the reference calls it."""

    words: str


def due_in(annotation: Any) -> str:
    """Return what is due by an annotation: ``length``, or the words of a choice; '' where it does not say."""
    words = [one.words for one in getattr(annotation, "__metadata__", ()) if isinstance(one, Due)]
    if words:
        return words[-1]
    choices = [choice for choice in get_args(annotation) if choice is not NoneType]
    if get_origin(annotation) is Literal:
        return ", ".join(f"`{choice}`" for choice in choices)
    return due_in(choices[0]) if get_origin(annotation) in (Annotated, Union, UnionType) else ""


class Model(BaseModel):
    """Base of all file models: frozen, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True, defer_build=True)
    HAS_SECRETS: ClassVar[bool] = False
    """Whether messages must not repeat what stands in such a file."""

    @classmethod
    def for_values(cls, values: Any, context: Any) -> type[Self]:
        """Return the model by which these values are read: another one where they name a variety of their own."""
        return cls

    @classmethod
    def why_unknown(cls, key: str) -> str:
        """Return what is to be said of a key that such a block does not have."""
        return f"{UNKNOWN}{nearest(key, keys_of(cls))}"

    @classmethod
    def why_missing(cls, key: str) -> str:
        """Return what is to be said of a block that lacks a key."""
        return f"the key '{key}' is missing here"


def keys_of(model: type[BaseModel]) -> list[str]:
    """Return the keys a block may have, as they are written in the file."""
    return [field.alias or name for name, field in model.model_fields.items()]


class ValueMistakeError(ValueError):
    """A mistake at a value inside the block that is being looked at; ``path`` leads there, key by key."""

    def __init__(self, path: tuple[str | int, ...], why: str) -> None:
        self.path = path
        super().__init__(why)


class KeyMistakeError(ValueMistakeError):
    """A mistake at a key: of the block that is being looked at, or, by its path, of one inside it."""

    def __init__(self, key: str | tuple[str | int, ...], why: str) -> None:
        super().__init__((key,) if isinstance(key, str) else key, why)


class NameMistakeError(ValueError):
    """A mistake in the name under which the block that is being looked at stands; ``known`` are names that could be."""

    def __init__(self, why: str, known: Iterable[str]) -> None:
        self.known = tuple(known)
        super().__init__(why)


def _parser(dimension: Dimension) -> BeforeValidator:
    return BeforeValidator(lambda value: quantities.parse_as(value, dimension))


def must(hold: Callable[[Any], bool], why: str) -> AfterValidator:
    """Return the check that something holds of a value; ``why`` is said of one of which it does not."""

    def check(value: Any) -> Any:
        if not hold(value):
            raise ValueError(why)
        return value

    return AfterValidator(check)


POSITIVE = must(lambda value: value > 0.0, "must be more than zero")
NOT_NEGATIVE = must(lambda value: value >= 0.0, "must not be negative")
SPAN_ABOVE_ZERO = must(lambda span: span[0] > 0.0, "must be more than zero")

Number = Annotated[float, _parser(quantities.NONE), Due("number")]
Share = Annotated[float, _parser(quantities.NONE), must(lambda value: 0.0 <= value <= 1.0, SHARE), Due("share")]
Length = Annotated[float, _parser(quantities.LENGTH), Due("length")]
Angle = Annotated[float, _parser(quantities.ANGLE), Due("angle")]
Time = Annotated[float, _parser(quantities.TIME), NOT_NEGATIVE, Due("time")]
Voltage = Annotated[float, _parser(quantities.VOLTAGE), Due("voltage")]
Current = Annotated[float, _parser(quantities.CURRENT), Due("current")]
Resistance = Annotated[float, _parser(quantities.RESISTANCE), NOT_NEGATIVE, Due("resistance")]
Frequency = Annotated[float, _parser(quantities.FREQUENCY), POSITIVE, Due("frequency")]
Speed = Annotated[float, _parser(quantities.SPEED), Due("speed")]
TurnRate = Annotated[float, _parser(quantities.TURN_RATE), Due("turn rate")]
Acceleration = Annotated[float, _parser(quantities.ACCELERATION), POSITIVE, Due("acceleration")]
TurnAcceleration = Annotated[float, _parser(quantities.TURN_ACCELERATION), POSITIVE, Due("turn acceleration")]
Temperature = Annotated[float, _parser(quantities.TEMPERATURE), Due("temperature")]
Data = Annotated[float, _parser(quantities.DATA), POSITIVE, Due("amount of data")]
WholeNumber = Annotated[StrictInt, Due("whole number")]


def _span_parser(dimension: Dimension) -> BeforeValidator:
    def parse(value: Any) -> tuple[float, float]:
        if isinstance(value, tuple):
            return value
        ends = value if isinstance(value, list) else [value, value]
        if len(ends) != 2:
            raise ValueError("one value, or a span [low, high], is due here")
        low, high = (quantities.parse_as(end, dimension) for end in ends)
        if low > high:
            raise ValueError(f"the span's low end comes first: [{ends[1]}, {ends[0]}]")
        return low, high

    return BeforeValidator(parse)


Span = tuple[float, float]
NumberSpan = Annotated[Span, _span_parser(quantities.NONE), Due("span of numbers")]
LengthSpan = Annotated[Span, _span_parser(quantities.LENGTH), Due("span of lengths")]
AngleSpan = Annotated[Span, _span_parser(quantities.ANGLE), Due("span of angles")]
TimeSpan = Annotated[Span, _span_parser(quantities.TIME), Due("span of times")]
ShareSpan = Annotated[NumberSpan, must(lambda span: 0.0 <= span[0] <= span[1] <= 1.0, SHARE), Due("span of shares")]
AboveZeroSpan = Annotated[NumberSpan, SPAN_ABOVE_ZERO]


def point(value: Any) -> tuple[float, float]:
    """Return the point (m) that a list of two lengths means.

    Raises:
        QuantityError: it is no such list.
    """
    if isinstance(value, tuple):
        return value
    if not isinstance(value, list) or len(value) != 2:
        raise QuantityError("a point [x, y] is due here, such as [1.5 m, 40 cm]")
    return quantities.parse_as(value[0], quantities.LENGTH), quantities.parse_as(value[1], quantities.LENGTH)


Point = Annotated[tuple[float, float], BeforeValidator(point), Due("point")]


def _name(value: Any) -> str:
    if not isinstance(value, str) or not NAME_PATTERN.fullmatch(value):
        raise ValueError(_A_NAME + _as_name(value))
    return value


def _as_name(value: object) -> str:
    """Return the cure: the same as a name, where it makes one."""
    name = re.sub(r"[^a-z0-9]+", "_", str(value).lower()).strip("_")
    return f"; write '{name}'" if NAME_PATTERN.fullmatch(name) else ""


Name = Annotated[str, BeforeValidator(_name), Due("name")]


def why_no_name(name: object, taken: Iterable[str] = ()) -> str:
    """Return why a condition could not read something by a name of the person's choice, or ''.

    Args:
        name: the name.
        taken: names that mean something else there.
    """
    if not isinstance(name, str) or not NAME_PATTERN.fullmatch(name):
        return _A_NAME
    if name in _WORDS_OF_CONDITIONS or name in taken:
        return f"'{name}' means something else already"
    return "no underscore stands at the end, nor beside another" if name.endswith("_") or "__" in name else ""


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a text is due here; put it in quotes if it is meant as one")
    if not value.strip():
        raise ValueError("a text is due here")
    return value


Text = Annotated[str, BeforeValidator(_text), Due("text")]
FilePath = Annotated[Text, Due("path")]


OwnDeadline = Annotated[Time, POSITIVE, must(lambda seconds: seconds <= 2.0, "must be 2 s at most")]
"""After which a device that nobody commands comes to rest by itself."""


def _yes_or_no(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    if value in ("yes", "no"):
        return bool(value == "yes")
    raise ValueError("yes or no is due here")


YesOrNo = Annotated[bool, BeforeValidator(_yes_or_no), Due("yes, no")]


def _from_its_file(text: str, info: ValidationInfo) -> str:
    return text if info.context is None else str(info.context.folder / text)


FromItsFile = Annotated[FilePath, AfterValidator(_from_its_file)]
"""A path outside the project's files; a relative one starts from the file that names it."""


def loose(value: Any) -> Any:
    """Return an option of a user's own driver: a quantity as its SI float, anything else as it is."""
    if isinstance(value, dict):
        return {key: loose(item) for key, item in value.items()}
    if isinstance(value, list):
        return [loose(item) for item in value]
    if isinstance(value, str):
        try:
            return quantities.parse(value).value
        except QuantityError:
            return value
    return value
