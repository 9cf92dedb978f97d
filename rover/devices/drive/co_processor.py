"""Two motor channels on the co-processor of a serial link."""

import math
from collections.abc import Mapping
from typing import Any

from rover.devices.drive.values import DriveCommand
from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.sides import Sides
from rover.quantities import clamp

_FULL_DUTY_PERMILLE = 1000
_LAST_WORD_NS = 250_000_000


class Drive(OnLink):
    """Two motor channels. The device's own deadline is the second way to zero, besides the motor guard's."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._sides = Sides(options)
        self._sequence = 0

    def apply(self, command: DriveCommand, now_ns: int) -> None:
        """Send the duties with the time that the command has left; one that has expired is not sent.

        Raises:
            ValueError: a duty is not a finite number.
        """
        left, right = self._sides.to_channels(_permille(command.left), _permille(command.right))
        self._sequence = command.sequence
        self._link.send_motors(left, right, command.sequence, command.expires_ns)

    def close(self) -> None:
        """Tell the motors to stand still."""
        self._sequence += 1
        self._link.send_motors(0, 0, self._sequence, self._link.now_ns() + _LAST_WORD_NS)


def _permille(share: float) -> int:
    if not math.isfinite(share):
        raise ValueError(f"a duty of {share}: the command is not sent, and the motors stop at their deadline")
    return round(clamp(share, -1.0, 1.0) * _FULL_DUTY_PERMILLE)
