"""The keys of the heading sensor in the robot file."""

from typing import Annotated, Literal

from rover.devices.keys import DeviceKeys, OnLink
from rover.files.types import NOT_NEGATIVE, POSITIVE, Angle, Frequency, TurnRate
from rover.quantities import si


class HeadingKeys(DeviceKeys):
    """Absolute-orientation sensor or compass."""

    rate: Frequency = si("20 Hz")
    offset: Angle = si("0 deg")
    """Added to what the sensor says, counter-clockwise."""
    sigma: Annotated[Angle, POSITIVE] = si("2 deg")
    """Standard deviation of one report; what the place does to it is `field.heading_error` in the errand file."""
    drift: Annotated[TurnRate, NOT_NEGATIVE] = si("0.5 deg/min")
    """How fast it drifts, wherever it is, as a standard deviation."""


class CoProcessorHeadingKeys(OnLink, HeadingKeys):
    """A sensor on a co-processor."""

    driver: Literal["co_processor"] = "co_processor"


class CompassKeys(OnLink, HeadingKeys):
    """A marine compass on a line of its own."""

    driver: Literal["compass"] = "compass"
