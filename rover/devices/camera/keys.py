"""The keys of the camera in the robot file."""

from typing import Annotated, Literal

from pydantic import Field

from rover.devices.keys import DeviceKeys
from rover.devices.mount import OnMount
from rover.files.types import (
    POSITIVE,
    Angle,
    Due,
    Frequency,
    FromItsFile,
    Length,
    Number,
    Text,
    Time,
    WholeNumber,
    YesOrNo,
    must,
)
from rover.quantities import si

SCHEMES = ("http://", "https://", "rtsp://")

Address = Annotated[
    Text,
    must(lambda text: text.startswith(SCHEMES), f"an address begins with {', '.join(SCHEMES[:-1])} or {SCHEMES[-1]}"),
    Due("address"),
]


class CameraKeys(OnMount, DeviceKeys):
    """Camera, looking ahead and down."""

    rate: Frequency = si("10 Hz")
    """As above: frames in a second."""
    overdue_after: Annotated[Time, POSITIVE] = si("600 ms")
    ahead: Length = si("10 cm")
    """From the robot's middle forward to the lens."""
    height: Annotated[Length, POSITIVE] = si("22 cm")
    """Of the lens above the ground."""
    tilt: Angle = si("15 deg")
    """Downwards from level."""
    field_of_view: Annotated[Angle, POSITIVE] = si("60 deg")
    """Full angle from the left to the right edge of a frame."""
    sees_to: Annotated[Length, POSITIVE] = si("2.5 m")
    """Farthest distance at which a lid is still found."""
    latency: Time = si("80 ms")
    """From the shutter to the report; a `sweep` stands still for so much longer."""
    frame_width: Annotated[WholeNumber, Field(gt=0)] = 640
    """Pixels across."""
    frame_height: Annotated[WholeNumber, Field(gt=0)] = 480
    """Pixels down."""
    distortion: Annotated[tuple[Number, ...], Field(max_length=5), Due("numbers")] = ()
    """Of the lens: k1, k2, p1, p2, k3 (Brown, 1971), such as `[-0.28, 0.09]`; those left out are zero."""


class VideoKeys(CameraKeys):
    """A camera of the kernel."""

    driver: Literal["video"] = "video"
    video: FromItsFile = "/dev/video0"
    """The camera's device file, or a recorded video."""
    exposure: Annotated[Time, POSITIVE] | None = None
    """Locked at this; left out, the camera chooses. So with the next three, on the camera's own scales."""
    gain: Number | None = None
    """Amplification."""
    white_balance: Annotated[Number, POSITIVE] | None = None
    """Mostly kelvin."""
    focus: Number | None = None
    """Distance of the lens."""


class NetworkCameraKeys(CameraKeys):
    """A camera that sends its pictures."""

    driver: Literal["network_camera"] = "network_camera"
    address: Address
    """Where its stream is, such as `http://10.0.0.7:8080/stream`."""


class PictureFolderKeys(CameraKeys):
    """Pictures instead of a camera."""

    driver: Literal["picture_folder"] = "picture_folder"
    folder: FromItsFile
    """The pictures' folder; a relative path starts from the robot file."""
    repeat: YesOrNo = True
    """After the last picture comes the first again."""
