"""What the families' keys in the robot file have in common."""

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, ConfigDict, Field, StrictInt, model_validator

from rover.files.problems import nearest
from rover.files.types import POSITIVE, Frequency, KeyMistakeError, Model, Name, Text, Time, loose

Pin = Annotated[StrictInt, Field(ge=0)]
"""Offset of a line on its GPIO chip."""


class DeviceKeys(Model):
    """What all devices have. A driver named ``package.module:Class`` may have any further keys.

    Attributes:
        DRIVERS: the family's own drivers, each with the keys that it cannot do without; the name of each is that of its
            module in the family's folder.
        IS_GUARDED: they are at work in the motor guard, so there are no such modules.
    """

    DRIVERS: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    IS_GUARDED: ClassVar = False

    model_config = ConfigDict(frozen=True, extra="allow")

    driver: Text
    link: Name | None = None
    rate: Frequency = 50.0
    overdue_after: Annotated[Time, POSITIVE] = 0.3
    gpio: Text = "/dev/gpiochip0"
    script: Annotated[list[Annotated[list[Any], Field(min_length=1)]], BeforeValidator(loose)] = Field(
        default_factory=list
    )

    @model_validator(mode="after")
    def _known_keys(self) -> "DeviceKeys":
        if not self.is_own:
            for key in self.model_extra or {}:
                raise KeyMistakeError(key, f"unknown key{nearest(key, type(self).model_fields)}")
        self._need(*self.DRIVERS.get(self.driver, ()))
        return self

    def _need(self, *keys: str) -> None:
        """Raise at the driver's line for keys that are not given."""
        missing = [f"'{key}:'" for key in keys if getattr(self, key) is None]
        if missing:
            raise KeyMistakeError("driver", f"driver '{self.driver}' needs {' and '.join(missing)} beside it")

    @property
    def is_own(self) -> bool:
        """Its driver is a person's own."""
        return ":" in self.driver

    def refuse_beside_guard(self, key: str) -> None:
        """Raise at a key that means something with a driver of one's own only: else the motor guard sees to it."""
        if getattr(self, key) is not None and not self.is_own:
            raise KeyMistakeError(key, f"the motor guard holds what driver '{self.driver}' moves; leave this out")

    @property
    def options(self) -> dict[str, Any]:
        """The device's keys and values for its driver, SI floats."""
        known = self.model_dump()
        return known | {key: loose(value) for key, value in (self.model_extra or {}).items()}
