"""The devices on it: each measures the bodies at its own rate, with errors and delays of its own."""

import math
from collections import deque
from itertools import product

import mujoco
import numpy as np

from rigid_world.model import HALF_ACROSS, HALF_UP, TILT
from rover import (
    MARKER,
    BatteryValue,
    Detection,
    Detections,
    HeadingValue,
    RangeValue,
    Reading,
    WheelCounts,
)

LINE_NS = (3_000_000, 12_000_000)
"""What a serial line and its buffers take."""
COUNTS_A_TURN = 1200

HEADING_NOISE, HEADING_WANDER, WANDER_S, RATE_NOISE = math.radians(0.3), math.radians(1.2), 90.0, math.radians(0.4)
"""Of a fused orientation sensor indoors: its heading wanders by a degree or two within minutes."""

CONE, SMOOTH = math.radians(15.0), math.radians(18.0)
"""Half angle of the sound's cone; a flat wall sends it back only if met within `SMOOTH` of the perpendicular."""
REACH, LEAST, ECHO_NOISE, LOST = 4.0, 0.03, 0.004, 0.04
JAR_HEARD_TO = 1.5
"""A round thing of 5 cm sends little back (common experience with these sensors; no source)."""
BETWEEN_RAYS = math.radians(1.0)

SEES_TO = 2.5
FRAME_NS = (70_000_000, 110_000_000)
PITCH_NOISE, BEARING_NOISE, MISSED = math.radians(0.4), math.radians(0.4), 0.03
SMEARED_AT = math.radians(90.0)
"""Turning as fast as this no edge is left in a frame."""
PITCH_SIGMA, BEARING_SIGMA = math.radians(0.5), math.radians(0.5)
"""What the camera says of its own errors."""


class Sensor:
    """Measures the world at its rate, and hands over a little later."""

    FAMILY = ""
    LATE_NS = LINE_NS

    def __init__(self, options, context):
        self.world, self.options = context.bench, options
        self.draws = np.random.default_rng([context.seed, 100 + sorted(STAND_INS).index(self.FAMILY)])
        self._period_ns = round(1e9 / options["rate"])
        self._due_ns = int(self.draws.integers(self._period_ns))
        self._sequence = 0
        self._waiting = deque()

    def poll(self, now_ns):
        """Measure when due; the world has just gone on to ``now_ns``, and what is measured is as it is then."""
        if now_ns >= self._due_ns:
            self._due_ns += self._period_ns * max(1, math.ceil((now_ns - self._due_ns) / self._period_ns))
            self._sequence += 1
            late_ns = int(self.draws.integers(*self.LATE_NS))
            self._waiting.append((now_ns + late_ns, Reading(now_ns, self._sequence, self.measure())))
        arrived = []
        while self._waiting and self._waiting[0][0] <= now_ns:
            arrived.append(self._waiting.popleft()[1])
        return arrived

    def close(self):
        """Nothing is held."""


class Counts(Sensor):
    """Encoders on the rear wheels."""

    FAMILY = "counts"

    def measure(self):
        _, left, _, right = self.world.turned / math.tau * COUNTS_A_TURN
        return WheelCounts(math.floor(left), math.floor(right))


class Heading(Sensor):
    """The body's heading, with a bias that wanders."""

    FAMILY = "heading"

    def __init__(self, options, context):
        super().__init__(options, context)
        self._bias = self.draws.normal(0.0, HEADING_WANDER / 2.0)
        self._keeps = math.exp(-1.0 / options["rate"] / WANDER_S)

    def measure(self):
        spread = HEADING_WANDER * math.sqrt(1.0 - self._keeps**2)
        self._bias = self._keeps * self._bias + self.draws.normal(0.0, spread)
        angle = self.world.pose[2] + self._bias + self.draws.normal(0.0, HEADING_NOISE)
        rate = self.world.turn_rate + self.draws.normal(0.0, RATE_NOISE)
        return HeadingValue(math.remainder(angle, math.tau), rate, 3)


class Range(Sensor):
    """Sound in a cone: the nearest of what sends it back. Rays a degree apart stand for it."""

    FAMILY = "range"

    def __init__(self, options, context):
        super().__init__(options, context)
        side = math.ceil(CONE / BETWEEN_RAYS)
        steps = [(across * BETWEEN_RAYS, up * BETWEEN_RAYS) for across, up in product(range(-side, side + 1), repeat=2)]
        self._rays = np.array([(1.0, math.tan(a), math.tan(b)) for a, b in steps if math.hypot(a, b) <= CONE])
        self._rays /= np.linalg.norm(self._rays, axis=1, keepdims=True)
        number = len(self._rays)
        self._geoms, self._ways, self._normals = np.zeros(number, np.int32), np.zeros(number), np.zeros(3 * number)
        # Echoes come from walls and jars; the floor is met too aslant, and the robot's own parts are not in the cone.
        self._heard = np.array([0, 1, 1, 0, 0, 0], dtype=np.uint8)

    def measure(self):
        if self.draws.random() < LOST:
            return RangeValue(None)
        nearest = self._nearest()
        if nearest is None:
            return RangeValue(None)
        return RangeValue(min(max(LEAST, nearest + self.draws.normal(0.0, ECHO_NOISE)), REACH))

    def _nearest(self):
        world, (place, turn) = self.world, self.world.site("range")
        rays = self._rays @ turn.T
        found = (self._geoms, self._ways, self._normals, len(rays), REACH)
        mujoco.mj_multiRay(world.m, world.d, place, rays.ravel(), self._heard, True, -1, *found)
        squarely = np.abs((rays * self._normals.reshape(-1, 3)).sum(axis=1)) > math.cos(SMOOTH)
        is_jar = world.m.geom_group[self._geoms] == 2
        back = (self._geoms >= 0) & (self._ways < np.where(is_jar, JAR_HEARD_TO, REACH)) & (is_jar | squarely)
        return float(self._ways[back].min()) if back.any() else None


class Camera(Sensor):
    """What a detector behind the lens would find, by geometry: lids within the frame that nothing hides."""

    FAMILY = "camera"
    LATE_NS = FRAME_NS

    def __init__(self, options, context):
        super().__init__(options, context)
        self._hides = np.array([0, 1, 1, 0, 0, 0], dtype=np.uint8)
        zone = context.bench.errand.field.zone
        self._marker = None if zone is None or zone.marker is None else zone

    def measure(self):
        world, (lens, turn) = self.world, self.world.site("camera")
        chance = (1.0 - MISSED) * max(0.0, 1.0 - (world.turn_rate / SMEARED_AT) ** 2)
        pitch = self.draws.normal(0.0, PITCH_NOISE)
        seen = []
        for number, (jar, height) in enumerate(zip(world.objects, world.heights, strict=True), 1):
            top = world.d.xpos[world.m.body(f"jar_{number}").id] + (0.0, 0.0, height / 2.0)
            found = self._in_frame(lens, turn, top)
            if found is None or jar.fallen or self.draws.random() > chance or self._is_hidden(lens, top, number):
                continue
            # The lid's height is known, so the angle below the horizon tells how far it is.
            drop, ahead = lens[2] - height, math.dist(lens[:2], top[:2])
            measured = drop / math.tan(max(math.atan2(drop, ahead) + pitch, 0.01))
            sigma = (measured**2 + drop**2) / drop * PITCH_SIGMA
            seen.append(self._detection(jar.kind, found, measured, (sigma, 0.05)))
        return Detections((*seen, *self._marker_seen(lens, turn, chance)))

    def _in_frame(self, lens, turn, place):
        """Return the bearing (rad) of what is in the frame and near enough, or None."""
        ahead, left, up = (place - lens) @ turn
        along, down = ahead * math.cos(TILT) - up * math.sin(TILT), -ahead * math.sin(TILT) - up * math.cos(TILT)
        if along <= 0.0 or math.dist(lens[:2], place[:2]) > SEES_TO:
            return None
        if abs(left) > along * math.tan(HALF_ACROSS) or abs(down) > along * math.tan(HALF_UP):
            return None
        return math.atan2(left, ahead)

    def _is_hidden(self, lens, place, number):
        """Tell whether something else stands before a jar's lid."""
        way = np.asarray(place) - lens
        far = float(np.linalg.norm(way))
        geom = np.zeros(1, dtype=np.int32)
        body = self.world.m.body(f"jar_{number}").id if number else -1
        distance = mujoco.mj_ray(self.world.m, self.world.d, lens, way / far, self._hides, 1, body, geom, None)
        return 0.0 <= distance < far - 0.005

    def _marker_seen(self, lens, turn, chance):
        if self._marker is None:
            return
        x, y = self._marker.marker
        place = np.array((x, y, lens[2]))
        found = self._in_frame(lens, turn, place)
        facing = math.atan2(self._marker.y - y, self._marker.x - x)
        aslant = math.remainder(math.atan2(lens[1] - y, lens[0] - x) - facing, math.tau)
        if found is None or abs(aslant) > math.radians(65.0) or self.draws.random() > chance:
            return
        if self._is_hidden(lens, place, 0):
            return
        distance = math.dist(lens[:2], place[:2])
        share = 0.02 * max(distance, 0.4)  # a pixel of the plate's height weighs more the farther it is
        measured = distance * (1.0 + self.draws.normal(0.0, share))
        yield self._detection(MARKER, found, measured, (measured * share, 0.1))

    def _detection(self, kind, bearing, distance, about):
        sigma, width = about
        bearing += self.draws.normal(0.0, BEARING_NOISE)
        size = width / (2.0 * math.tan(HALF_ACROSS) * max(distance, 0.1))
        return Detection(kind, float(bearing), float(distance), BEARING_SIGMA, float(sigma), float(size))


class Battery(Sensor):
    """Voltage at the terminals, and current."""

    FAMILY = "battery"

    def measure(self):
        return BatteryValue(self.world.volts + self.draws.normal(0.0, 0.02), self.world.amps)


class Drive:
    """The two channels of the bridge."""

    def __init__(self, options, context):
        self.world = context.bench

    def apply(self, command, now_ns):
        self.world.drive(command.left, command.right, now_ns, command.expires_ns)

    def close(self):
        self.world.drive(0.0, 0.0, self.world.now_ns, 0)


class Gripper:
    """The servo: it keeps its last pulse."""

    def __init__(self, options, context):
        self.world = context.bench

    def apply(self, command, now_ns):
        self.world.close_jaws(0.0 if command.opening is None else 1.0 - command.opening)

    def close(self):
        """It stays as it is."""


STAND_INS = {
    "drive": Drive,
    "counts": Counts,
    "heading": Heading,
    "range": Range,
    "camera": Camera,
    "gripper": Gripper,
    "battery": Battery,
}
