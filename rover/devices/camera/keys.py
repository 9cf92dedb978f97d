"""The keys of the camera in the robot file."""

import math
from typing import Annotated, ClassVar

from pydantic import Field, StrictInt

from rover.devices.mount import MountedKeys
from rover.files.types import POSITIVE, Angle, Frequency, Length, Number, Text, Time


class CameraKeys(MountedKeys):
    """Camera looking ahead and down. ``distortion`` is that of the lens: k1, k2, p1, p2 and k3 (Brown, 1971)."""

    DRIVERS: ClassVar = {"video": ()}

    rate: Frequency = 10.0
    overdue_after: Annotated[Time, POSITIVE] = 0.6
    ahead: Length = 0.10
    height: Annotated[Length, POSITIVE] = 0.22
    tilt: Angle = math.radians(15.0)
    field_of_view: Annotated[Angle, POSITIVE] = math.radians(60.0)
    sees_to: Annotated[Length, POSITIVE] = 2.5
    latency: Time = 0.08
    video: Text = "/dev/video0"
    frame_width: Annotated[StrictInt, Field(gt=0)] = 640
    frame_height: Annotated[StrictInt, Field(gt=0)] = 480
    exposure: Annotated[Time, POSITIVE] | None = None
    gain: Number | None = None
    white_balance: Annotated[Number, POSITIVE] | None = None
    focus: Number | None = None
    distortion: Annotated[tuple[Number, ...], Field(max_length=5)] = ()
