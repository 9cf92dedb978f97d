"""Onboard runtime for small wheeled fetch-and-return robots.

What a driver or an activity of one's own imports is offered here; its module is loaded when it is asked for.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rover.behaviour.vocabulary import ActivitySpec as ActivitySpec
    from rover.behaviour.vocabulary import Progress as Progress
    from rover.devices.protocols import Actuator as Actuator
    from rover.devices.protocols import DriverContext as DriverContext
    from rover.devices.protocols import Sensor as Sensor
    from rover.devices.readings import *  # noqa: F403
    from rover.motion.request import Request as Request
    from rover.simulation import Contact as Contact
    from rover.simulation import Simulation as Simulation
    from rover.simulation import SimulationContext as SimulationContext
    from rover.simulation import TrueObject as TrueObject

__version__ = "0.1.0"

_OFFERED = {
    "rover.behaviour.vocabulary": ("ActivitySpec", "Progress"),
    "rover.devices.protocols": ("Actuator", "DriverContext", "Sensor"),
    "rover.devices.readings": (
        *("Reading", "Fault", "MARKER", "Detection", "Detections", "Frame", "WheelCounts", "HeadingValue"),
        *("RangeValue", "BatteryValue", "JawsValue", "StopInputValue", "DriveCommand", "JawsCommand"),
    ),
    "rover.motion.request": ("Request",),
    "rover.simulation": ("Contact", "Simulation", "SimulationContext", "TrueObject"),
}


def __getattr__(name: str) -> Any:
    """Return what is offered under a name."""
    for module, names in _OFFERED.items():
        if name in names:
            return getattr(import_module(module), name)
    raise AttributeError(f"module 'rover' has no attribute '{name}'")
