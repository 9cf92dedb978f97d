"""What the families' keys in the robot file have in common, and which keys a device has by its driver.

The model of a family has what rover itself reads of its devices. Each built-in driver has a model based on it, with
what that driver reads besides, and its name: ``driver: Literal["echo_pins"]``. The lines below the keys are those of
the reference, `config/README.md`; `rover.files.reference` makes its tables of them.
"""

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, ClassVar, Literal, get_args, get_origin

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StrictInt,
)

from rover.devices.with_driver import Declared, Settled, WithDriver, is_dotted, made_for
from rover.files.problems import meant, nearest
from rover.files.types import (
    POSITIVE,
    Due,
    FilePath,
    Frequency,
    Model,
    Name,
    OwnDeadline,
    Text,
    Time,
    WholeNumber,
    keys_of,
    loose,
)
from rover.quantities import si

SCRIPTED = "scripted"
"""Plays what a test wrote."""
SIMULATED = "simulated"
"""Stands in for a device in a rehearsal."""

Pin = Annotated[StrictInt, Field(ge=0), Due("pin")]
"""Offset of a line on its GPIO chip."""


class OnLink(Model):
    """A driver on a serial line."""

    link: Name
    """The serial line it is on, one of `links`; a driver of your own may name one, too."""


class OnPins(Model):
    """A driver on pins of the board itself."""

    gpio: FilePath = "/dev/gpiochip0"
    """The GPIO chip its pins are on."""


class OnPwm(Model):
    """A driver on PWM channels of the kernel."""

    pwm_chip: Annotated[WholeNumber, Field(ge=0)] = 0
    """The N of `/sys/class/pwm/pwmchipN`."""
    pwm_files: FilePath = "/sys/class/pwm"
    """Where the kernel shows its PWM chips."""


class OnScript(Model):
    """The fake that plays a script."""

    script: Annotated[list[Annotated[list[Any], Field(min_length=1)]], BeforeValidator(loose), Due("list of lists")] = (
        Field(default_factory=list)
    )
    """What it plays, each row one report at its time: `[[0 s, 12.4 V], [5 s, 9.8 V]]`."""


class MaybeOnLink(Model):
    """A fake, or a driver of a person's own: it may be on a serial line."""

    link: Name | None = None


class Unguarded(Model):
    """What moves by a driver of a person's own: the motor guard cannot hold it."""

    own_deadline: OwnDeadline | None = None
    """So long after the last command the device itself comes to rest, 2 s at most; see [What moves](#what-moves)."""


class DeviceKeys(WithDriver):
    """What all devices have.

    Attributes:
        DRIVERS: of a family: the models of its own drivers by their names, which are those of their modules in the
            family's folder.
    """

    DRIVERS: ClassVar[dict[str, type["DeviceKeys"]]] = {}
    BESIDE_OWN: ClassVar[tuple[type[Model], ...]] = (MaybeOnLink,)

    rate: Frequency = si("50 Hz")
    """Reports in a second: on the bench, in the confirmation table, and in a `sweep`."""
    overdue_after: Annotated[Time, POSITIVE] = si("300 ms")
    """A device whose last report is older is not ok."""

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Give a family its table of drivers, and put the model of a driver into it."""
        named = cls.model_fields["driver"].annotation
        if DeviceKeys in cls.__bases__:
            cls.DRIVERS = {}
        elif get_origin(named) is Literal:
            cls.DRIVERS[get_args(named)[0]] = cls

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """Return the short names that may stand under the ``driver:`` of a family."""
        return (*cls.DRIVERS, SCRIPTED, SIMULATED)

    @classmethod
    def is_settled(cls) -> bool:
        """See `WithDriver.is_settled`."""
        return super().is_settled() or cls in cls.DRIVERS.values()

    @classmethod
    def for_driver(cls, driver: object, declared: Declared | None = None) -> type[WithDriver]:
        """See `WithDriver.for_driver`; fakes have the keys of all drivers, and so has a name that is not known."""
        if is_dotted(driver):
            return cls.for_own_driver(declared)
        return cls.DRIVERS.get(str(driver)) or _of_any_driver(cls)

    @classmethod
    def why_unknown(cls, key: str) -> str:
        """See `Model.why_unknown`; where another driver of the family has such a key, say which."""
        others: dict[str, list[str]] = {}
        models: Mapping[str, type[Model]] = {**cls.DRIVERS, SCRIPTED: OnScript}
        for name, model in models.items():
            for one in set(keys_of(model)) - set(keys_of(cls)):
                others.setdefault(one, []).append(f"driver '{name}'")
        for one in {one for model in cls.BESIDE_OWN for one in keys_of(model)} - set(keys_of(cls)):
            others.setdefault(one, ["drivers of your own"])
        near = meant(key, [*keys_of(cls), *others])
        if near not in others:
            return super().why_unknown(key)
        of_another = f"a key of {' and '.join(others[near])}"
        return f"{of_another}, not of this one" if near == key else f"unknown key; did you mean '{near}', {of_another}?"

    @classmethod
    def why_missing(cls, key: str) -> str:
        """See `Model.why_missing`."""
        driver = cls.model_fields["driver"].default
        return f"driver '{driver}' needs '{key}:' beside it" if isinstance(driver, str) else super().why_missing(key)

    @property
    def on_link(self) -> str | None:
        """The serial line that the device is on, one of the robot's ``links``."""
        link: str | None = getattr(self, "link", None)
        return link

    @property
    def options(self) -> dict[str, Any]:
        """The device's keys and values for its driver, SI floats."""
        return self.model_dump(by_alias=True) | self.own_options


def why_no_driver(driver: str, family: type[DeviceKeys]) -> str:
    """Return what is to be said of a name that no driver of a family has."""
    return f"there is no driver '{driver}' here{nearest(driver, family.names())}; or name package.module:Class"


@cache
def _of_any_driver(family: type[DeviceKeys]) -> type[WithDriver]:
    """Return the model with the keys of all of a family's drivers, none of them required."""

    def known(driver: str) -> str:
        if driver in family.names():
            return driver
        raise ValueError(why_no_driver(driver, family))

    fields: dict[str, Any] = {"driver": (Annotated[Text, AfterValidator(known)], ...)}
    for model in family.DRIVERS.values():
        for key, field in model.model_fields.items():
            if key not in family.model_fields and key != "link":
                default = None if field.is_required() else field.get_default(call_default_factory=True)
                fields.setdefault(key, (field.rebuild_annotation() | None, default))
    return made_for(family, (MaybeOnLink, OnScript, Settled), fields)
