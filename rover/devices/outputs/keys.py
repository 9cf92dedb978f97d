"""The keys of an output of one's own in the robot file."""

from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from rover import quantities
from rover.files.types import POSITIVE, KeyMistakeError, Model, Text, Time, YesOrNo, loose, must
from rover.kinds import Kind, Number, Truth
from rover.quantities import Quantity, QuantityError


def _level(value: Any) -> bool | Quantity:
    if isinstance(value, (bool, Quantity)):
        return value
    if isinstance(value, (int, float, str)):
        return quantities.parse(value if isinstance(value, str) else repr(value))
    raise QuantityError("a quantity is due here, such as 0 %, 30 mm, or true or false")


Level = Annotated[bool | Quantity, BeforeValidator(_level)]


class OutputKeys(Model):
    """A thing that a behaviour switches or sets. Its driver, and any further keys for that, are a person's own.

    Attributes:
        rest: its value unless something sets another one; of which kind it is, all values of it are.
        moves: it moves a part that can hurt or break something.
        trial: what bring-up sets it to for a moment.
        own_deadline: so long after the last command the device itself goes to rest.
    """

    model_config = ConfigDict(frozen=True, extra="allow")

    driver: Annotated[Text, must(lambda name: ":" in name, "an output has a driver of your own, package.module:Class")]
    rest: Level
    about: Text = "as the robot file declares it"
    moves: YesOrNo = False
    trial: Level | None = Field(default=None)
    own_deadline: Annotated[Time, POSITIVE] | None = None

    @model_validator(mode="after")
    def _can_be_tried(self) -> "OutputKeys":
        if self.trial is not None and _kind_of(self.trial) != self.kind:
            raise KeyMistakeError("trial", f"{self.kind} is due here, as 'rest:' is")
        if self.moves and self.own_deadline is None:
            why = "what moves needs 'own_deadline:': so long after the last command the device itself goes to rest"
            raise KeyMistakeError("moves", why)
        if self.moves and self.trial is None:
            raise KeyMistakeError(
                "moves", "what moves needs 'trial:', to which bring-up sets it to see that it comes to rest"
            )
        return self

    @property
    def kind(self) -> Kind:
        """Kind of all its values."""
        return _kind_of(self.rest)

    @property
    def at_rest(self) -> float | bool:
        """Its value at rest, SI units."""
        return in_si(self.rest)

    @property
    def options(self) -> dict[str, Any]:
        """The keys and values for its driver, SI units."""
        own = {key: loose(value) for key, value in (self.model_extra or {}).items()}
        return {"driver": self.driver, "rest": self.at_rest, "own_deadline": self.own_deadline} | own


def _kind_of(level: bool | Quantity) -> Kind:
    return Truth() if isinstance(level, bool) else Number(level.dimension)


def in_si(level: bool | Quantity) -> float | bool:
    """Return the value of a level."""
    return level if isinstance(level, bool) else level.value
