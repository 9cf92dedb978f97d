"""What a frame shows: the errand's kinds by their lids, and the tray's marker; and whether the frame is any good."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import product
from typing import Any, NamedTuple

from rover.devices.camera.keys import CameraKeys
from rover.devices.camera.values import FROZEN_AFTER
from rover.devices.readings import MARKER, Detection, Detections, Fault, Frame
from rover.errors import UserError
from rover.files.errand import Kind
from rover.files.robot import Colour, Marker, Robot
from rover.vision.colour import Patch, patches_of, to_hsv
from rover.vision.edges import Extent, joined_extent, split_extent
from rover.vision.lens import MountedLens, view_of
from rover.vision.location import Located, locate, locate_marker, locate_pair

DARK, BRIGHT = 42, 245
"""A frame whose mean brightness (0 to 255) is below or above shows nothing that could be relied on."""
COLOURLESS = 66
"""Up to this saturation (0 to 255) a pixel is about grey: no channel more than 1.35 times as bright as another."""
LEAST_GREY = 0.1
"""Wherever a robot looks, so large a share of the picture is about grey, if the white balance is right."""
SMALLEST_SIDE = 60
"""Pixels: a picture of less is no frame."""
GREY = 128
"""What decoders fill in for the part of a picture that did not come."""
ALIKE = 1.6
"""The two halves of the marker differ in width and height by no more than this factor."""


class MarkedDetection(NamedTuple):
    """A detection, and the edges of its patch in the picture."""

    detection: Detection
    extent: Extent


class Detector:
    """Finds lids and the tray's marker in frames. One thread at a time may use it.

    Args:
        camera: of the robot file: height, tilt, field of view, distortion.
        colours: of the robot file, by name.
        kinds: of the errand file, by name; each kind's lid is one of the colours.
        marker: of the robot file, or None when there is none.
    """

    def __init__(
        self, camera: CameraKeys, colours: Mapping[str, Colour], kinds: Mapping[str, Kind], marker: Marker | None = None
    ) -> None:
        self._camera = camera
        self._marker = marker
        self._kinds = kinds
        used = {kind.lid for kind in kinds.values()} | ({marker.left, marker.right} if marker else set())
        self._colours = {name: colour for name, colour in colours.items() if name in used}
        self._view = view_of(camera, camera.frame_width, camera.frame_height)

    def detections(self, image: Any) -> Detections:
        """Return all objects in a picture (rows of blue, green and red, 8 bit), nearest first."""
        return Detections(tuple(seen.detection for seen in self.look(image)))

    def look(self, image: Any) -> list[MarkedDetection]:
        """Return the same with where each stands in the picture."""
        view = self._view_for(image)
        patches = patches_of(image, self._colours)
        markers = list(self._markers(view, patches))
        rest = [patch for patch in patches if not any(_overlap(patch.extent, marker.extent) for marker in markers)]
        seen = markers + [lid for patch in rest for lid in self._lids(view, patch)]
        return sorted(seen, key=lambda one: one.detection.distance)

    def _view_for(self, image: Any) -> MountedLens:
        height, width = image.shape[:2]
        if (width, height) != (self._view.lens.width, self._view.lens.height):
            self._view = view_of(self._camera, width, height)
        return self._view

    def _lids(self, view: MountedLens, patch: Patch) -> Iterator[MarkedDetection]:
        """Yield the lid of the kind that is placed most surely, of those of this colour; or two that stand as one.

        Surely farther than the camera sees to, its pixels are too few: two lids there are soon one that seems nearer.
        """
        places = [
            (place.distance_sigma / place.distance, name, place)
            for name, kind in self._kinds.items()
            if kind.lid == patch.colour and (place := locate(view, patch.extent, kind.height, kind.width)) is not None
        ]
        if not places:
            return
        _, name, place = min(places)
        if place.distance - place.distance_sigma > self._camera.sees_to:
            return
        pair = locate_pair(view, patch.extent, self._kinds[name].height, self._kinds[name].width)
        if pair is None:
            yield _seen(name, place, view, patch.extent)
        else:
            for one, extent in zip(pair, split_extent(patch.extent), strict=True):
                yield _seen(name, one, view, extent)

    def _markers(self, view: MountedLens, patches: Iterable[Patch]) -> Iterator[MarkedDetection]:
        marker = self._marker
        if marker is None:
            return
        lefts = [patch.extent for patch in patches if patch.colour == marker.left]
        rights = [patch.extent for patch in patches if patch.colour == marker.right]
        for left, right in product(lefts, rights):
            if _side_by_side(left, right):
                place = locate_marker(view, (left, right), marker.width, marker.height)
                if place is not None:
                    yield _seen(MARKER, place, view, joined_extent(left, right))


def detector_of(robot: Robot, kinds: Mapping[str, Kind]) -> Detector:
    """Return the detector for a robot's camera and an errand's kinds.

    Raises:
        UserError: the robot has no camera.
    """
    camera = robot.devices.camera
    if camera is None:
        raise UserError("the robot file has no camera; add 'camera:' to its devices")
    return Detector(camera, robot.colours, kinds, robot.marker)


def finder(robot: Robot, kinds: Mapping[str, Kind], camera: CameraKeys) -> Callable[[Frame], Detections | Fault]:
    """Return what finds an errand's kinds in a camera's frames, one after the other, and says which are no good."""
    detector, watch = Detector(camera, robot.colours, kinds, robot.marker), FrameWatch(camera)

    def find(frame: Frame) -> Detections | Fault:
        trouble = watch.trouble(frame.image)
        return Fault(trouble) if trouble else detector.detections(frame.image)

    return find


def _seen(kind: str, place: Located, view: MountedLens, extent: Extent) -> MarkedDetection:
    size = (extent.right - extent.left) / view.lens.width
    return MarkedDetection(Detection(kind, *place, round(size, 6)), extent)


def _overlap(one: Extent, other: Extent) -> bool:
    return one.left < other.right and other.left < one.right and one.top < other.bottom and other.top < one.bottom


def _side_by_side(left: Extent, right: Extent) -> bool:
    """Whether two patches are of a size and touch, the one to the left of the other."""
    width, height = left.right - left.left, left.bottom - left.top
    gap, shift = right.left - left.right, abs(right.top - left.top)
    sizes = ((width, right.right - right.left), (height, right.bottom - right.top))
    alike = all(max(pair) <= ALIKE * min(pair) + 2.0 for pair in sizes)
    return alike and abs(gap) <= 2.0 + 0.15 * width and shift <= 2.0 + 0.15 * height


class FrameWatch:
    """Tells frames that show nothing to rely on; it remembers the last one, to know it again."""

    def __init__(self, camera: CameraKeys) -> None:
        self._shape = camera.frame_width / camera.frame_height
        self._last = b""
        self._equal = 0

    def trouble(self, image: Any) -> str:
        """Return what is wrong with the next frame, and what to do about it; '' for a good one."""
        if misshapen := self.misshapen(image):
            return misshapen
        frozen = self._frozen(image)
        # Covered up, a lens gives equal frames as well; and what has not arrived is grey.
        return _light(image) or frozen or _unfinished(image) or _tinted(image)

    def misshapen(self, image: Any) -> str:
        """Return why something is no picture of the camera's shape, or ''."""
        shape: Any = getattr(image, "shape", ())
        if len(shape) != 3 or shape[2] != 3 or str(image.dtype) != "uint8":
            return "the frame is no picture of blue, green and red"
        height, width = shape[:2]
        if min(height, width) < SMALLEST_SIDE or abs(width / height / self._shape - 1.0) > 0.02:
            return f"the frame is {width}x{height} pixels; the robot file's frame_width and frame_height say otherwise"
        return ""

    def _frozen(self, image: Any) -> str:
        content = image.tobytes()
        self._equal = self._equal + 1 if content == self._last else 1
        self._last = content
        return f"the same frame {self._equal} times; is the camera stuck?" if self._equal >= FROZEN_AFTER else ""


def _light(image: Any) -> str:
    brightness = float(image[::4, ::4].mean())
    if brightness < DARK:
        return "too dark: is the lens covered, or the exposure too short?"
    return "too bright: the exposure is too long for this light" if brightness > BRIGHT else ""


def _unfinished(image: Any) -> str:
    last = image[-max(1, len(image) // 8) :]
    return "the lower part of the frame is missing; is the cable good?" if bool((last == GREY).all()) else ""


def _tinted(image: Any) -> str:
    saturation = to_hsv(image[::4, ::4].copy())[:, :, 1]
    if (saturation <= COLOURLESS).mean() >= LEAST_GREY:
        return ""
    return "all is tinted: is the white balance right for this light, and is anything grey in sight?"
