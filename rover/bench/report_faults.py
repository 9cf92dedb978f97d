"""What faults do to the values that heading sensor, battery monitor and gripper report, on a line or without one."""

from random import Random

from rover.bench.motors import EMPTY, PowerSupply
from rover.devices.readings import BatteryValue, HeadingValue, JawsValue
from rover.files.fault_table import ReportsFault
from rover.quantities import wrap


def heading_with(fault: ReportsFault, value: HeadingValue, draws: Random) -> HeadingValue:
    """Return what the heading sensor reports in place of a value."""
    sign = -1.0 if fault.reversed else 1.0
    angle = wrap(sign * value.angle + fault.bias + draws.gauss(0.0, fault.noise))
    return value._replace(angle=angle, rate=None if value.rate is None else sign * value.rate)


def battery_with(fault: ReportsFault, supply: PowerSupply, draws: Random) -> BatteryValue:
    """Return what the battery monitor reports of a supply."""
    volts = EMPTY * supply.full - supply.sag if fault.low else supply.volts
    return BatteryValue(max(0.0, volts + fault.bias + draws.gauss(0.0, fault.noise)), supply.amps)


def jaws_with(fault: ReportsFault, value: JawsValue) -> JawsValue:
    """Return what the gripper reports in place of a value."""
    if not fault.reversed:
        return value
    opening, holding = value
    return JawsValue(None if opening is None else 1.0 - opening, None if holding is None else not holding)
