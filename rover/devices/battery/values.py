"""What a battery monitor reports."""

from typing import NamedTuple


class BatteryValue(NamedTuple):
    """Terminal voltage (V) and, where it is measured, current drawn (A)."""

    volts: float
    amps: float | None = None
