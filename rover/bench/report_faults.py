"""What faults do to the values that heading sensor, battery monitor and gripper report, on a line or without one."""

from collections import deque
from random import Random
from typing import Generic, TypeVar

from rover.bench.motors import EMPTY, PowerSupply
from rover.devices.readings import BatteryValue, HeadingValue, JawsValue
from rover.files.fault_table import ReportsFault
from rover.quantities import wrap

AnyValue = TypeVar("AnyValue")
KEEPS_ON_NS = 1_000_000_000
"""No device reports more seldom: after a longer break something else is wrong than before it."""


class Lagging(Generic[AnyValue]):
    """A device that says of now what was some time before; until it has been at it so long, what was at first."""

    def __init__(self) -> None:
        self._kept: deque[tuple[int, AnyValue]] = deque()

    def says(self, value: AnyValue, lag: float, now_ns: int) -> AnyValue:
        """Return what it says in place of the value of now."""
        kept = self._kept
        if kept and now_ns - kept[-1][0] > KEEPS_ON_NS:
            kept.clear()
        kept.append((now_ns, value))
        said_ns = now_ns - round(lag * 1e9)
        while len(kept) > 1 and kept[1][0] <= said_ns:
            kept.popleft()
        return kept[0][1]


def heading_with(fault: ReportsFault, seconds: float, value: HeadingValue, draws: Random) -> HeadingValue:
    """Return what the heading sensor reports in place of a value, with something wrong for so many seconds."""
    angle = wrap(fault.factor * value.angle + fault.bias + fault.drift * seconds + draws.gauss(0.0, fault.noise))
    rate = None if value.rate is None or fault.without_rate else fault.factor * value.rate
    return value._replace(angle=angle, rate=rate)


def battery_with(fault: ReportsFault, supply: PowerSupply, draws: Random) -> BatteryValue:
    """Return what the battery monitor reports of a supply."""
    volts = EMPTY * supply.full - supply.sag if fault.says is False else supply.volts
    return BatteryValue(max(0.0, volts + fault.bias + draws.gauss(0.0, fault.noise)), supply.amps)


def jaws_with(fault: ReportsFault, value: JawsValue) -> JawsValue:
    """Return what the gripper reports in place of a value."""
    if fault.says is not None:
        value = value._replace(holding=bool(fault.says))
    if fault.factor > 0.0:
        return value
    opening, holding = value
    return JawsValue(None if opening is None else 1.0 - opening, None if holding is None else not holding)
