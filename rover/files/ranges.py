"""The ranges file: what is drawn for each trial, and how it is spread. Every key is explained in `config/README.md`."""

import math
from statistics import NormalDist
from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from rover import quantities
from rover.files.given import FILES
from rover.files.types import Due, KeyMistakeError, Model, NameMistakeError, Text
from rover.quantities import QuantityError

FARTHEST_SIGMAS = 3.0
"""A normal distribution without ``within`` is cut so many sigmas from its middle."""
DIGITS = 6
"""What is drawn has so many digits, so that a command line can have it exactly."""


class Bound(NamedTuple):
    """A number of a ranges file: its value in its unit, the unit as it was written, and the unit's measure in SI."""

    value: float
    unit: str
    dimension: quantities.Dimension
    factor: float

    def value_in(self, other: "Bound") -> float:
        """Return the value in another one's unit."""
        return self.value if self.unit == other.unit else self.value * self.factor / other.factor


def _bound(value: Any) -> Bound:
    if isinstance(value, Bound):
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise QuantityError("a number is due here, with its unit if it has one")
    text = value if isinstance(value, str) else repr(value)
    quantity = quantities.parse(text)
    unit = text.strip().lstrip("+-0123456789.").strip() if quantity.has_unit else ""
    if unit[:1] in ("e", "E") and unit[1:2] in (*"+-0123456789",):
        raise QuantityError(f"'{text}': write the number without an exponent")
    factor = quantities.parse_unit(unit)[1] if unit else 1.0
    return Bound(quantity.value / factor, unit, quantity.dimension, factor)


ABound = Annotated[Bound, BeforeValidator(_bound), Due("quantity")]
Pair = Annotated[tuple[ABound, ABound], Due("pair of numbers")]


class Spread(Model):
    """How one value is spread. One of ``between``, ``around`` and ``one_of`` stands here."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [{"required": ["between"]}, {"required": ["around", "sigma"]}, {"required": ["one_of"]}],
            "dependencies": {"by": ["between"], "sigma": ["around"], "within": ["around"]},
        }
    )

    between: Pair | None = None
    """Lowest and highest value, all between them alike likely. Of whole numbers, take `one_of`."""
    by: Literal["difference", "ratio"] = "difference"
    """`ratio`: from 1 to 2 is as likely as from 2 to 4."""
    around: ABound | None = None
    """Middle of a normal distribution."""
    sigma: ABound | None = None
    """Its standard deviation."""
    within: Pair | None = None
    """Where it is cut; 3 sigmas from the middle if left out."""
    one_of: Annotated[list[Any], Due("list of values"), Field(min_length=1)] | None = None
    """Values as they would stand in the file, each alike likely."""

    @model_validator(mode="after")
    def _of_one_form(self) -> Self:
        forms = [name for name in ("between", "around", "one_of") if getattr(self, name) is not None]
        if len(forms) != 1:
            raise ValueError("one of 'between', 'around' and 'one_of' is due here, as in '{between: [1 cm, 3 cm]}'")
        belongs = {"by": "between", "sigma": "around", "within": "around"}
        for key, form in belongs.items():
            if key in self.model_fields_set and forms[0] != form:
                raise KeyMistakeError(key, f"this goes with '{form}', not with '{forms[0]}'")
        if self.around is not None and self.sigma is None:
            raise KeyMistakeError("around", "a 'sigma' is due beside this")
        self._check_numbers()
        return self

    def _check_numbers(self) -> None:
        numbers = [*(self.between or ()), *(one for one in (self.around, self.sigma) if one), *(self.within or ())]
        if len({one.dimension for one in numbers}) > 1:
            raise ValueError("these are not all of one kind: write the same kind of unit at each")
        for name in ("between", "within"):
            pair = getattr(self, name)
            if pair is not None and pair[1].value_in(pair[0]) < pair[0].value:
                raise KeyMistakeError(name, "the lower value comes first")
        if self.by == "ratio" and self.between is not None and self.between[0].value <= 0.0:
            raise KeyMistakeError("by", "a ratio needs values above zero")
        if self.sigma is not None and self.sigma.value <= 0.0:
            raise KeyMistakeError("sigma", "must be more than zero")
        if self.within is not None and self._shares() is None:
            raise KeyMistakeError("within", "the distribution has nothing there; widen this, or 'sigma'")

    @property
    def unit(self) -> str:
        """The unit in which numbers are drawn; '' for plain numbers and for words."""
        first = self.between[0] if self.between else self.around
        return first.unit if first else ""

    @property
    def extremes(self) -> list[Any]:
        """The values to be looked at before any is drawn: both ends, or all of a few; as in a file."""
        return list(self.one_of) if self.one_of is not None else [self.at(0.0)[1], self.at(1.0)[1]]

    def at(self, share: float) -> tuple[float | str, Any]:
        """Return the value below which a ``share`` of all lies, as a number (in `unit`) or a word, and as in a file."""
        if self.one_of is not None:
            value = self.one_of[min(int(share * len(self.one_of)), len(self.one_of) - 1)]
            return str(value), value
        number = self._between(share) if self.between else self._around(share)
        text = f"{number:.{DIGITS}g}"
        return float(text), f"{text} {self.unit}" if self.unit else float(text)

    def _between(self, share: float) -> float:
        assert self.between is not None
        low, high = self.between[0].value, self.between[1].value_in(self.between[0])
        if self.by == "ratio":
            return math.exp(math.log(low) + share * (math.log(high) - math.log(low)))
        return low + share * (high - low)

    def _around(self, share: float) -> float:
        shares = self._shares()
        assert shares is not None
        low, high = shares
        return self._normal().inv_cdf(low + share * (high - low))

    def _normal(self) -> NormalDist:
        assert self.around is not None
        assert self.sigma is not None
        return NormalDist(self.around.value, self.sigma.value_in(self.around))

    def _shares(self) -> tuple[float, float] | None:
        """Return the shares of the whole normal distribution that lie below both cuts; None if nothing is between."""
        normal = self._normal()
        cuts = (normal.mean - FARTHEST_SIGMAS * normal.stdev, normal.mean + FARTHEST_SIGMAS * normal.stdev)
        if self.within is not None and self.around is not None:
            cuts = (self.within[0].value_in(self.around), self.within[1].value_in(self.around))
        low, high = normal.cdf(cuts[0]), normal.cdf(cuts[1])
        return (low, high) if high - low > 1e-9 and low < 1.0 - 1e-12 else None


def _key(value: Any) -> Any:
    if isinstance(value, str) and "." in value and value.split(".")[0] not in FILES:
        first = value.split(".")[0]
        raise NameMistakeError(f"'{first}' is no file of an errand", FILES)
    return value


class RangesFile(Model):
    """The whole ranges file."""

    ranges: Text
    """Title, for reports."""
    sampling: Literal["latin hypercube", "random"] = "latin hypercube"
    """`latin hypercube`: of each key, every part of its range is tried equally often, whatever the others are; which
    values a trial has then depends on how many there are. `random`: each trial draws by itself."""
    draw: Annotated[dict[Annotated[str, BeforeValidator(_key)], Spread], Due("blocks by key"), Field(min_length=1)] = (
        Field(...)
    )
    """By key as `--given` has it (`bench.floor.slip`, `robot.body.track`, `near`): how its values are spread."""
