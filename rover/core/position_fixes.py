"""Position fixes: the range finders' by known walls, and the camera's by the tray's marker."""

import math

from rover.activities.activity import Knowledge
from rover.core.beyond import Wall
from rover.core.cross_checks import CrossChecks
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import Detection, Reading
from rover.estimate.fixes import (
    RANGE_SIGMA,
    WallView,
    fix_by_marker,
    fix_by_wall,
    is_of_another,
    wall_in_view,
    ways_to,
)
from rover.geometry import Pose
from rover.quantities import wrap

WALL_FIX_EVERY_NS = 300_000_000
"""Echoes from one wall err alike, so only so many of them count."""
FRAME_TIME_NS = 100_000_000
"""When a frame was taken is known to about this (standard deviation): a camera's latency is measured roughly, and is
not always the same. Meanwhile a turn sweeps what is seen aside, and a way brings it nearer."""
WORTH_NOTING = 0.02
"""A fix that moves the estimate by more than this (m) is noted in the run record."""


class PositionFixes:
    """Fixes the position by what is seen and heard, and has those know who entered places by it."""

    def __init__(self, known: Knowledge, checks: CrossChecks) -> None:
        self._known, self._checks = known, checks
        self._next_ns: dict[str, int] = {}

    def hear(self, device: str, sensor: RangeKeys, reading: Reading) -> None:
        """Hold a range finder against the known wall that it faces, and fix the position by that."""
        known, distance, half_beam = self._known, reading.value.distance, 0.5 * sensor.beam
        view, pose = None, known.pose
        if reading.taken_ns >= self._next_ns.get(device, 0):
            self._next_ns[device] = reading.taken_ns + WALL_FIX_EVERY_NS
            pose = known.filter.at(reading.taken_ns)
            view = wall_in_view(pose, sensor.mount, half_beam, known.ground.walls, known.things)
        self._checks.hear(device, distance, None if view is None else self._wall(view))
        if view is None or self._checks.is_doubted(device):
            return
        if distance is None:
            known.fixes.hear_nothing(view)
            return
        before = known.filter.pose
        passed = not self._is_of_another(view, sensor, pose, distance) and fix_by_wall(
            known.filter, view, sensor.mount, distance
        )
        known.fixes.range_to(view, distance, passed=passed)
        if passed:
            self._enter("a wall", before)

    def _wall(self, view: WallView) -> Wall:
        """Return a wall as the cross-checks hold echoes against it."""
        nx, ny = view.normal
        pose_filter = self._known.filter
        sigma, moves = pose_filter.believed_doubt.along(nx, ny), pose_filter.sources["wall"].moves
        return Wall(view.distance, math.atan2(-ny, -nx), sigma, moves)

    def _is_of_another(self, view: WallView, sensor: RangeKeys, pose: Pose, distance: float) -> bool:
        """Tell whether an echo (m) is rather one of what was met before a wall."""
        known = self._known
        if distance > view.distance - RANGE_SIGMA:
            return False
        sigma = known.filter.position_doubt.along(*view.normal)
        ways = ways_to(sensor.mount.on(pose), 0.5 * sensor.beam, view.distance, known.met_near(pose[:2]))
        return is_of_another(distance, view, sigma, ways)

    def see(self, marker: Detection, taken_ns: int) -> None:
        """Fix the position by the marker in a frame that was taken at a time."""
        known, before = self._known, self._known.filter.pose
        place, marker = known.ground.marker, self._as_timed(marker, taken_ns)
        if place is not None and fix_by_marker(known.filter, taken_ns, known.targets.view.ahead, place, marker):
            known.fixes.markers += 1
            known.fixes.marker_from = marker.distance
            self._enter("the marker", before)

    def _as_timed(self, marker: Detection, taken_ns: int) -> Detection:
        """Return a sighting as sure as it is known when the frame was taken."""
        pose, turn, way = self._known.filter.at(taken_ns), 0.0, 0.0
        for when_ns in (taken_ns - FRAME_TIME_NS, taken_ns + FRAME_TIME_NS):
            x, y, heading = self._known.filter.at(when_ns)
            turn = max(turn, abs(wrap(heading - pose.heading)))
            way = max(way, math.hypot(x - pose.x, y - pose.y))
        bearing_sigma = math.hypot(marker.bearing_sigma, turn)
        return marker._replace(bearing_sigma=bearing_sigma, distance_sigma=math.hypot(marker.distance_sigma, way))

    def _enter(self, what: str, before: Pose) -> None:
        known = self._known
        after = known.filter.pose
        known.fixes.move(before, after)
        known.explored.moved(before, after)
        known.heard.moved(before, after)
        if math.hypot(after.x - before.x, after.y - before.y) > WORTH_NOTING:
            text = f"by {what}: from x {before.x:.3f} m, y {before.y:.3f} m to x {after.x:.3f} m, y {after.y:.3f} m"
            known.note("fix", f"{text}, sigma now {known.filter.position_doubt.worst:.3f} m")
