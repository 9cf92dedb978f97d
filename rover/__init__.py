"""Onboard runtime for small wheeled fetch-and-return robots.

What is offered here is for drivers, activities and tests of a person's own; `DEVELOPERS.md` has a line about each name.
A module is loaded when something of it is asked for, so that importing this costs nothing. `rover.testing` has the
checks that a driver must pass. Everything else in the package may change from one version to the next.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rover.activities.activity import Activity as Activity
    from rover.activities.activity import Deed as Deed
    from rover.activities.activity import Knowledge as Knowledge
    from rover.behaviour.vocabulary import ActivitySpec as ActivitySpec
    from rover.behaviour.vocabulary import Parameter as Parameter
    from rover.behaviour.vocabulary import Progress as Progress
    from rover.devices.protocols import Actuator as Actuator
    from rover.devices.protocols import DriverContext as DriverContext
    from rover.devices.protocols import Sensor as Sensor
    from rover.devices.readings import MARKER as MARKER
    from rover.devices.readings import BatteryValue as BatteryValue
    from rover.devices.readings import Detection as Detection
    from rover.devices.readings import Detections as Detections
    from rover.devices.readings import DriveCommand as DriveCommand
    from rover.devices.readings import Fault as Fault
    from rover.devices.readings import Frame as Frame
    from rover.devices.readings import HeadingValue as HeadingValue
    from rover.devices.readings import JawsCommand as JawsCommand
    from rover.devices.readings import JawsValue as JawsValue
    from rover.devices.readings import OutputCommand as OutputCommand
    from rover.devices.readings import RangeValue as RangeValue
    from rover.devices.readings import Reading as Reading
    from rover.devices.readings import StopInputValue as StopInputValue
    from rover.devices.readings import WheelCounts as WheelCounts
    from rover.errors import UserError as UserError
    from rover.kinds import Choice as Choice
    from rover.kinds import Number as Number
    from rover.kinds import PlaceName as PlaceName
    from rover.kinds import Truth as Truth
    from rover.kinds import WallName as WallName
    from rover.motion.request import STILL as STILL
    from rover.motion.request import Request as Request
    from rover.quantities import ANGLE as ANGLE
    from rover.quantities import CURRENT as CURRENT
    from rover.quantities import LENGTH as LENGTH
    from rover.quantities import SPEED as SPEED
    from rover.quantities import TIME as TIME
    from rover.quantities import TURN_RATE as TURN_RATE
    from rover.quantities import VOLTAGE as VOLTAGE
    from rover.session.rehearse import rehearse as rehearse
    from rover.session.result import Result as Result
    from rover.simulation import Contact as Contact
    from rover.simulation import Simulation as Simulation
    from rover.simulation import SimulationContext as SimulationContext
    from rover.simulation import TrueObject as TrueObject

__version__ = "0.1.0"

_OFFERED = {
    "activities.activity": ("Activity", "Deed", "Knowledge"),
    "behaviour.vocabulary": ("ActivitySpec", "Parameter", "Progress"),
    "devices.protocols": ("Actuator", "DriverContext", "Sensor"),
    "devices.readings": (
        *("MARKER", "BatteryValue", "Detection", "Detections", "DriveCommand", "Fault", "Frame", "HeadingValue"),
        *("JawsCommand", "JawsValue", "OutputCommand", "RangeValue", "Reading", "StopInputValue", "WheelCounts"),
    ),
    "errors": ("UserError",),
    "kinds": ("Choice", "Number", "PlaceName", "Truth", "WallName"),
    "motion.request": ("STILL", "Request"),
    "quantities": ("ANGLE", "CURRENT", "LENGTH", "SPEED", "TIME", "TURN_RATE", "VOLTAGE"),
    "session.rehearse": ("rehearse",),
    "session.result": ("Result",),
    "simulation": ("Contact", "Simulation", "SimulationContext", "TrueObject"),
}
"""The names offered, by the module that has them; above they stand once more, for type checkers."""


def __getattr__(name: str) -> Any:
    """Return what is offered under a name."""
    for module, names in _OFFERED.items():
        if name in names:
            return getattr(import_module(f"rover.{module}"), name)
    raise AttributeError(f"module 'rover' has no attribute '{name}'")


def __dir__() -> list[str]:
    """Return the names, for whoever looks round."""
    return sorted(["__version__", *(name for names in _OFFERED.values() for name in names)])
