"""What a device gives conditions to read, besides whether it is ok."""

from collections.abc import Callable
from typing import Any, NamedTuple

from rover.kinds import Kind


class DeviceSignal(NamedTuple):
    """One signal of a device.

    Attributes:
        kind: of its values.
        about: its line in the reference.
        of: returns it for a value that the device reported and the device's keys; SI units.
        can_be_unknown: a report may leave it out.
    """

    kind: Kind
    about: str
    of: Callable[[Any, Any], Any]
    can_be_unknown: bool = False
