"""Activities that fix the position: sighting the tray's marker, squaring up to a known wall."""

import math
from collections.abc import Mapping
from typing import Any

from rover.activities.driving import TurnTowards
from rover.activities.world import Activity, World
from rover.graph.vocabulary import ActivitySpec, Number, Outcome, Parameter, WallName
from rover.motion.profile import bearing_to
from rover.motion.request import STILL, Request
from rover.quantities import wrap

PATIENCE = 4.0
"""Seconds that a fix is waited for, facing what it is taken from."""


class SightMarker(Activity):
    """Stands facing the tray's marker until it has been sighted often enough to fix the position."""

    spec = ActivitySpec(
        "turn to the tray's marker and sight it until the position is fixed",
        {"frames": Parameter(Number(whole=True), "so many sightings make a fix; default 8", positive=True)},
        ("drive", "counts", "camera"),
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        self._wanted = world.book.marker_fixes + values.get("frames", 8)
        self._seconds = PATIENCE
        marker = world.ground.marker
        if marker is None:
            self.outcome, self.why = Outcome.FAILED, "the errand's zone has no 'marker'"
            return
        _, bearing = bearing_to(*world.pose, *marker)
        self._turn = TurnTowards(wrap(world.pose.heading + bearing), world.robot.limits.turn_rate)

    def step(self, world: World) -> Request:
        """Turn to it, then stand and look."""
        request = self._turn.request(world)
        if request is not None:
            return request
        self._seconds -= world.seconds
        if world.book.marker_fixes >= self._wanted:
            self.outcome = Outcome.DONE
        elif self._seconds <= 0.0:
            self.outcome, self.why = Outcome.FAILED, "the marker was not sighted where it should be"
        return STILL


class SquareUp(Activity):
    """Turns square to a known wall and ranges to it: fixes the position along one axis."""

    spec = ActivitySpec(
        "turn square to a known wall and range to it, which fixes one axis",
        {
            "wall": Parameter(WallName(), "name of one of the errand's walls", required=True),
            "echoes": Parameter(Number(whole=True), "so many echoes make a fix; default 4", positive=True),
        },
        ("drive", "counts", "range"),
    )

    def __init__(self, world: World, values: Mapping[str, Any]) -> None:
        self.outcome = Outcome.RUNNING
        self._wanted = world.book.wall_fixes + values.get("echoes", 4)
        self._seconds = PATIENCE
        ends = world.errand.field.walls.get(values["wall"])
        if ends is None:
            self.outcome, self.why = Outcome.FAILED, f"the errand has no wall '{values['wall']}'"
            return
        self._turn = TurnTowards(_towards_wall(world, *ends), world.robot.limits.turn_rate)

    def step(self, world: World) -> Request:
        """Turn to it, then stand and listen."""
        request = self._turn.request(world)
        if request is not None:
            return request
        self._seconds -= world.seconds
        if world.book.wall_fixes >= self._wanted:
            self.outcome = Outcome.DONE
        elif self._seconds <= 0.0:
            self.outcome, self.why = Outcome.FAILED, "no echo came from where the wall should be"
        return STILL


def _towards_wall(world: World, a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the heading (rad) square to the wall ab, towards it."""
    along = math.atan2(b[1] - a[1], b[0] - a[0])
    aside = (world.pose.x - a[0]) * math.sin(along) - (world.pose.y - a[1]) * math.cos(along)
    return wrap(along + math.copysign(math.pi / 2.0, aside))
