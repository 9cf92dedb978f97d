"""The keys of an output of one's own in the robot file."""

from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from rover import quantities
from rover.devices.with_driver import WithDriver, is_dotted
from rover.files.types import Due, KeyMistakeError, OwnDeadline, Text, YesOrNo, must
from rover.kinds import Kind, Number, Truth
from rover.quantities import Quantity, QuantityError


def _level(value: Any) -> bool | Quantity:
    if isinstance(value, (bool, Quantity)):
        return value
    if value in ("yes", "no"):
        return bool(value == "yes")
    if isinstance(value, (int, float, str)):
        return quantities.parse(value if isinstance(value, str) else repr(value))
    raise QuantityError("a quantity is due here, such as 0 %, 30 mm, or yes or no")


Level = Annotated[bool | Quantity, BeforeValidator(_level)]


class OutputKeys(WithDriver):
    """A thing that a behaviour switches or sets. Its driver, and any further keys for that, are a person's own."""

    driver: Annotated[Text, must(is_dotted, "an output has a driver of your own, package.module:Class")]
    """`package.module:Class`; its folder is given with `--drivers`."""
    rest: Annotated[Level, Due("any")]
    """Its value unless something sets another one: a quantity, or `yes` or `no`. All its values are of that kind."""
    about: Text = "as the robot file declares it"
    """One line about it."""
    moves: YesOrNo = False
    """It moves a part that can hurt or break something: a lift, a pusher."""
    trial: Annotated[Level, Due("as `rest`")] | None = None
    """What `rover bring-up` sets it to for a moment, to see that it works and comes to rest."""
    own_deadline: OwnDeadline | None = None
    """So long after the last command the device itself goes to rest; 2 s at most."""

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
        return {"driver": self.driver, "rest": self.at_rest, "own_deadline": self.own_deadline} | self.own_options


def _kind_of(level: bool | Quantity) -> Kind:
    return Truth() if isinstance(level, bool) else Number(level.dimension)


def in_si(level: bool | Quantity) -> float | bool:
    """Return the value of a level."""
    return level if isinstance(level, bool) else level.value
