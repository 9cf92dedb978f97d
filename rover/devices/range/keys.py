"""The keys of the range finder in the robot file."""

import math
from typing import Annotated, ClassVar

from pydantic import AfterValidator, BeforeValidator, Field, StrictInt, model_validator

from rover import quantities
from rover.devices.keys import Pin
from rover.devices.mount import MountedKeys
from rover.files.types import NOT_NEGATIVE, POSITIVE, Angle, Frequency, KeyMistakeError, Length

LEAST_PING_CYCLE_S = 0.06
"""Least time (s) between two pings of an ultrasonic range finder; makers state 60 ms."""


def _air(celsius: float) -> float:
    if not -20.0 <= celsius <= 50.0:
        raise ValueError("must lie between -20 degC and 50 degC")
    return celsius


def _odd(number: int) -> int:
    if number % 2 == 0:
        raise ValueError("must be odd, so that there is a middle one")
    return number


AirTemperature = Annotated[
    float, BeforeValidator(lambda value: quantities.parse_as(value, quantities.TEMPERATURE)), AfterValidator(_air)
]
Odd = Annotated[StrictInt, Field(ge=1, le=15), AfterValidator(_odd)]


class RangeKeys(MountedKeys):
    """Ultrasonic range finder; the one that a robot's ``range`` is looks ahead."""

    DRIVERS: ClassVar = {"echo_pins": ("trigger", "echo")}

    rate: Frequency = 15.0
    ahead: Length = 0.12
    least: Annotated[Length, NOT_NEGATIVE] = 0.03
    most: Annotated[Length, POSITIVE] = 4.0
    beam: Annotated[Angle, POSITIVE] = math.radians(30.0)
    no_echo_reads: Annotated[Length, POSITIVE] | None = None
    trigger: Pin | None = None
    echo: Pin | None = None
    temperature: AirTemperature = 20.0
    median_of: Odd = 1

    @model_validator(mode="after")
    def _echoes_can_be_told_apart(self) -> "RangeKeys":
        if self.driver == "echo_pins" and self.trigger == self.echo:
            raise KeyMistakeError("echo", "this is the trigger's pin; each needs its own")
        if self.driver == "echo_pins" and self.rate * LEAST_PING_CYCLE_S > 1.0:
            most = f"{int(1.0 / LEAST_PING_CYCLE_S)} Hz"
            raise KeyMistakeError("rate", f"echoes of one ping must die away before the next; {most} at most")
        return self

    @property
    def no_echo_distance(self) -> float:
        """What the behaviour sees (m) when no echo comes back."""
        return self.most if self.no_echo_reads is None else self.no_echo_reads
