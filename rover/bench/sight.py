"""The camera: which objects a frame shows, and where they seem to be."""

import math
from collections.abc import Iterable
from typing import NamedTuple

from rover.bench.draws import Episodes, drawn, stream
from rover.bench.floor import Solids
from rover.bench.objects import Piece
from rover.devices.camera.keys import CameraKeys
from rover.devices.readings import MARKER, Detection
from rover.files.bench import BenchFile
from rover.files.grip import half_height, why_lid_unseen
from rover.quantities import wrap

# What vision can tell about its own errors: of the pitch (which sets the distance), and of the bearing (rad).
PITCH_SIGMA = math.radians(0.6)
BEARING_SIGMA = math.radians(0.5)


class CameraPose(NamedTuple):
    """Where the camera is (m, rad, field frame) and how the body moves (rad/s, m/s^2)."""

    x: float
    y: float
    heading: float
    turn_rate: float
    acceleration: float


class InSight(NamedTuple):
    """A piece in sight: its distance (m) and bearing (rad, left positive) from the camera."""

    distance: float
    bearing: float
    piece: Piece


class Sight:
    """A camera looking ahead and down, and the detector behind it."""

    def __init__(self, file: BenchFile, device: CameraKeys, seed: int | str) -> None:
        errors = self._errors = file.camera
        self._draws = stream(seed, "camera")
        self._false_draws = stream(seed, "false detections")
        self._marker_draws = stream(seed, "marker")
        self._pitch = stream(seed, "pitch").gauss
        self._flicker = Episodes(errors.flicker_every, errors.flicker_lasts, stream(seed, "flicker"))
        limits = stream(seed, "sight limits")
        self._nearest = drawn(errors.nearest, limits)
        self._farthest = device.sees_to * drawn(errors.farthest_factor, limits)
        self.latency_ns = round(drawn(errors.latency, stream(seed, "camera latency")) * 1e9)
        self._height, self._device = device.height, device
        # What stands lower in the frame than its edge is not in it: so far from the camera for each metre below it.
        self._from_edge = 1.0 / math.tan(min(device.tilt + half_height(device), 0.5 * math.pi))
        self._marker_noise = drawn(errors.marker_noise, stream(seed, "marker noise"))
        self._half = device.field_of_view / 2.0
        self._slope = math.tan(self._half)

    def frame(
        self, view: CameraPose, pieces: Iterable[Piece], solids: Solids, in_jaws: Piece | None, now_ns: int
    ) -> list[Detection]:
        """Return the detections of one frame, nearest first. ``in_jaws`` is in sight if the picture has room for it."""
        seen = self._unhidden(view, self._in_sight(view, pieces, in_jaws), solids)
        errors = self._errors
        chance = self._chance(view.turn_rate, now_ns)
        # An accelerating body lifts its nose: things stand lower in the frame and seem nearer.
        pitch = self._pitch(0.0, errors.pitch_noise) + errors.dip * view.acceleration
        draws = self._draws
        return [self._detection(each, pitch) for each in seen if draws.random() < chance]

    def false_detection(self, kinds: list[str]) -> Detection | None:
        """Return a detection of nothing, which a frame has now and then."""
        draws = self._false_draws
        if not kinds or draws.random() >= self._errors.false:
            return None
        distance = draws.uniform(self._nearest, self._farthest)
        size = 0.05 / (2.0 * self._slope * math.hypot(distance, self._height))
        bearing = draws.uniform(-self._half, self._half)
        return Detection(draws.choice(kinds), bearing, distance, BEARING_SIGMA, self._distance_sigma(distance), size)

    def marker(self, view: CameraPose, place: tuple[float, float], solids: Solids, now_ns: int) -> Detection | None:
        """Return the detection of the tray's marker, a plate on a post at the camera's height: no object hides it."""
        dx, dy = place[0] - view.x, place[1] - view.y
        distance, bearing = math.hypot(dx, dy), wrap(math.atan2(dy, dx) - view.heading)
        errors, draws = self._errors, self._marker_draws
        if abs(bearing) > self._half or not 0.1 < distance < self._farthest or solids.hide(view.x, view.y, *place):
            return None
        if draws.random() > self._chance(view.turn_rate, now_ns):
            return None
        share = self._marker_noise * max(distance, 0.3)
        measured = distance * (1.0 + draws.gauss(0.0, share))
        bearing += draws.gauss(0.0, errors.bearing_noise)
        sigma = measured * 0.02 * max(measured, 0.3)
        return Detection(MARKER, bearing, measured, BEARING_SIGMA, sigma, 0.1 / (2.0 * self._slope * distance))

    def _chance(self, turn_rate: float, now_ns: int) -> float:
        """Return the chance that something in view is detected in a frame."""
        errors = self._errors
        turning = turn_rate / errors.blur_at
        chance = (1.0 - errors.missed) * 2.0 ** -(turning * turning)
        return float(chance * (1.0 - errors.flicker)) if self._flicker.on(now_ns) else float(chance)

    def _in_sight(self, view: CameraPose, pieces: Iterable[Piece], in_jaws: Piece | None) -> list[InSight]:
        ahead, left = math.cos(view.heading), math.sin(view.heading)
        slope, nearest, farthest, height, from_edge = (
            *(self._slope, self._nearest, self._farthest),
            *(self._height, self._from_edge),
        )
        seen = []
        for piece in pieces:
            dx, dy = piece.x - view.x, piece.y - view.y
            forward = dx * ahead + dy * left
            if piece is not in_jaws and (forward <= 0.0 or forward > farthest):
                continue
            sideways = dy * ahead - dx * left
            distance = math.hypot(dx, dy)
            if piece is in_jaws:
                is_seen = not why_lid_unseen(self._device, forward, piece.height, 2.0 * piece.radius)
            else:
                least = max(nearest, (height - piece.height) * from_edge)
                is_seen = abs(sideways) <= slope * forward and least <= distance <= farthest
            if is_seen:
                seen.append(InSight(distance, math.atan2(sideways, forward), piece))
        return seen

    def _unhidden(self, view: CameraPose, seen: list[InSight], solids: Solids) -> list[InSight]:
        if not seen:
            return seen
        seen.sort(key=lambda each: (each.distance, each.piece.number))
        return [
            each
            for at, each in enumerate(seen)
            if not any(self._hides(nearer, each) for nearer in seen[:at])
            and not solids.hide(view.x, view.y, each.piece.x, each.piece.y)
        ]

    def _hides(self, nearer: InSight, farther: InSight) -> bool:
        """Whether the nearer piece covers the farther one's foot, so that the two make one patch of colour."""
        piece = nearer.piece
        if abs(nearer.bearing - farther.bearing) >= math.atan2(piece.radius, nearer.distance):
            return False
        above = self._height - piece.height
        return above <= 0.0 or farther.distance < nearer.distance * self._height / above

    def _detection(self, seen: InSight, pitch: float) -> Detection:
        """A piece is seen at the angle atan(height / distance) below the horizon; pitch is an error of that angle."""
        distance, bearing, piece = seen
        height = self._height
        below = math.atan2(height, distance) + pitch
        measured = height / math.tan(max(below, 0.02))
        bearing += self._draws.gauss(0.0, self._errors.bearing_noise)
        size = 2.0 * piece.radius / (2.0 * self._slope * math.hypot(distance, height))
        return Detection(piece.kind, bearing, measured, BEARING_SIGMA, self._distance_sigma(measured), size)

    def _distance_sigma(self, distance: float) -> float:
        return (distance * distance + self._height * self._height) / self._height * PITCH_SIGMA
