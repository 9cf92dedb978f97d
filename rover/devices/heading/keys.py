"""The keys of the heading sensor in the robot file."""

import math
from typing import Annotated, ClassVar

from rover.devices.keys import DeviceKeys
from rover.files.types import POSITIVE, Angle, Frequency


class HeadingKeys(DeviceKeys):
    """Absolute-orientation sensor or compass."""

    DRIVERS: ClassVar = {"co_processor": (), "compass": ()}

    rate: Frequency = 20.0
    offset: Angle = 0.0
    sigma: Annotated[Angle, POSITIVE] = math.radians(2.0)
