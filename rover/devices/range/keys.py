"""The keys of the range finder in the robot file."""

from typing import Annotated, Literal

from pydantic import Field, StrictInt, model_validator

from rover.devices.keys import DeviceKeys, OnPins, Pin
from rover.devices.mount import OnMount
from rover.files.types import (
    NOT_NEGATIVE,
    POSITIVE,
    Angle,
    Due,
    Frequency,
    KeyMistakeError,
    Length,
    Temperature,
    must,
)
from rover.quantities import si

LEAST_PING_CYCLE_S = 0.06
"""Least time (s) between two pings of an ultrasonic range finder; makers state 60 ms."""

AIR = (si("-20 degC"), si("50 degC"))
"""How cold and how warm the air may be."""
AirTemperature = Annotated[
    Temperature, must(lambda celsius: AIR[0] <= celsius <= AIR[1], "must lie between -20 degC and 50 degC")
]
Odd = Annotated[
    StrictInt,
    Field(ge=1, le=15),
    must(lambda number: number % 2 == 1, "must be odd, so that there is a middle one"),
    Due("odd number"),
]


class RangeKeys(OnMount, DeviceKeys):
    """Ultrasonic range finder; the one that a robot's ``range`` is looks ahead."""

    rate: Frequency = si("15 Hz")
    ahead: Length = si("12 cm")
    """From the robot's middle forward to the sensor's face."""
    least: Annotated[Length, NOT_NEGATIVE] = si("3 cm")
    """Nearest distance it can tell."""
    most: Annotated[Length, POSITIVE] = si("4 m")
    """Farthest distance it can tell."""
    beam: Annotated[Angle, POSITIVE] = si("30 deg")
    """Full angle of its cone."""
    no_echo_reads: Annotated[Length, POSITIVE] | None = None
    """What `range.distance` is when no echo comes back; without it, `most`."""

    @property
    def no_echo_distance(self) -> float:
        """What the behaviour sees (m) when no echo comes back."""
        return self.most if self.no_echo_reads is None else self.no_echo_reads


class EchoPinsKeys(OnPins, RangeKeys):
    """A trigger and an echo pin."""

    driver: Literal["echo_pins"] = "echo_pins"
    trigger: Pin
    """Starts a ping."""
    echo: Pin
    """Is high while the echo is on its way. A 5 V sensor needs a divider here."""
    temperature: AirTemperature = si("20 degC")
    """Of the air, -20 to 50 degC: 10 degC amiss are 1.7 % of the distance."""
    median_of: Odd = 1
    """Reports the median of so many pings, no echo counting as farthest."""

    @model_validator(mode="after")
    def _echoes_can_be_told_apart(self) -> "EchoPinsKeys":
        if self.trigger == self.echo:
            raise KeyMistakeError("echo", "this is the trigger's pin; each needs its own")
        if self.rate * LEAST_PING_CYCLE_S > 1.0:
            most = f"{int(1.0 / LEAST_PING_CYCLE_S)} Hz"
            raise KeyMistakeError("rate", f"echoes of one ping must die away before the next; {most} at most")
        return self
