"""The keys of the battery monitor in the robot file."""

from typing import Annotated, ClassVar

from rover.devices.keys import DeviceKeys
from rover.files.types import NOT_NEGATIVE, POSITIVE, Current, Frequency, Number, Resistance, Text, Time, Voltage


class BatteryKeys(DeviceKeys):
    """Battery monitor."""

    DRIVERS: ClassVar = {"co_processor": (), "adc_file": ("file",)}

    rate: Frequency = 2.0
    overdue_after: Annotated[Time, POSITIVE] = 3.0
    inner_resistance: Resistance = 0.15
    full: Annotated[Voltage, POSITIVE] = 12.6
    load_at_full_duty: Annotated[Current, NOT_NEGATIVE] = 2.0
    file: Text | None = None
    divider: Annotated[Number, POSITIVE] = 1.0
    scale: Annotated[Voltage, POSITIVE] | None = None
    supply_alarm: Text | None = None
