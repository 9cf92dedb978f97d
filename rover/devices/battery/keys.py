"""The keys of the battery monitor in the robot file."""

from typing import Annotated, Literal

from rover.devices.keys import DeviceKeys, OnLink
from rover.files.types import NOT_NEGATIVE, POSITIVE, Current, FilePath, Frequency, Number, Resistance, Time, Voltage
from rover.quantities import si


class BatteryKeys(DeviceKeys):
    """Battery monitor."""

    rate: Frequency = si("2 Hz")
    overdue_after: Annotated[Time, POSITIVE] = si("3 s")
    inner_resistance: Resistance = si("150 mohm")
    """Of battery and leads: `battery.rest_volts` adds its drop back."""
    full: Annotated[Voltage, POSITIVE] = si("12.6 V")
    """At rest, freshly charged."""
    load_at_full_duty: Annotated[Current, NOT_NEGATIVE] = si("2 A")
    """With both sides at full duty; stands in for the current where the monitor does not measure it."""


class CoProcessorBatteryKeys(OnLink, BatteryKeys):
    """A monitor on a co-processor."""

    driver: Literal["co_processor"] = "co_processor"


class AdcFileKeys(BatteryKeys):
    """An analogue input that the kernel shows as files."""

    driver: Literal["adc_file"] = "adc_file"
    file: FilePath
    """The analogue input, such as `/sys/bus/iio/devices/iio:device0/in_voltage0_raw`."""
    divider: Annotated[Number, POSITIVE] = 1.0
    """Battery volts for one volt at the input."""
    scale: Annotated[Voltage, POSITIVE] | None = None
    """One step of the input; left out, the kernel's `scale` file beside it is read."""
    supply_alarm: FilePath | None = None
    """The board's undervoltage alarm, `.../hwmon0/in0_lcrit_alarm`: while it is on, the battery is not ok."""
