"""Activities that fix the position: sighting the tray's marker, squaring up to a known wall."""

from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.activities.turn_or_leave import TurnOrLeave
from rover.behaviour.vocabulary import ActivitySpec, Parameter, Progress
from rover.devices.range.keys import RangeKeys
from rover.estimate.fixes import facing, surer_by_wall, wall_in_view
from rover.kinds import Number, WallName
from rover.motion.profile import bearing_to
from rover.motion.request import STILL, Request
from rover.quantities import wrap

MOST_FIXES, SURE_ENOUGH, ECHOES = 2, 0.012, 10
"""So often, with a position less sure than this (m), known walls are ranged to, by so many echoes, to find a way."""
PATIENCE = 4.0
"""Seconds that a fix is waited for, facing what it is taken from."""
NO_RANGE_FINDER, NO_WALL = "the robot has no range finder", "no known wall is in reach of the range finder"


class SightMarker(Activity):
    """Stands facing the tray's marker until it has been sighted often enough to fix the position."""

    spec = ActivitySpec(
        "turn to the tray's marker and sight it until the position is fixed",
        {"frames": Parameter(Number(whole=True), "so many sightings make a fix; default 8", positive=True)},
        ("drive", "counts", "camera"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self._wanted = known.fixes.markers + values.get("frames", 8)
        self._seconds = PATIENCE
        marker = known.ground.marker
        if marker is None:
            self.fail("the errand's zone has no 'marker'")
            return
        _, bearing = bearing_to(*known.pose, *marker)
        self._turn = TurnOrLeave(wrap(known.pose.heading + bearing), known.robot.limits.turn_rate)

    def step(self, known: Knowledge) -> Request:
        """Turn to it, then stand and look."""
        request = self._turn.request(known)
        if request is not None:
            return request
        if self._turn.why:
            return self.fail(self._turn.why)
        self._seconds -= known.seconds
        if known.fixes.markers >= self._wanted:
            self.done()
        elif self._seconds <= 0.0:
            self.fail("the marker was not sighted where it should be")
        return STILL


class Ranging:
    """Turning to a heading, and listening there until so many echoes of a known wall have come; a part of activities.

    Attributes:
        why: why it failed, '' where it did not.
    """

    def __init__(self, known: Knowledge, heading: float, echoes: int) -> None:
        self.why = ""
        self._turn = TurnOrLeave(heading, known.robot.limits.turn_rate)
        self._wanted = known.fixes.walls + echoes
        self._seconds = PATIENCE

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, None at the end."""
        request = self._turn.request(known)
        if request is not None:
            return request
        self.why = self._turn.why
        self._seconds -= known.seconds
        if self.why or known.fixes.walls >= self._wanted:
            return None
        if self._seconds <= 0.0:
            self.why = "no echo came from where the wall should be"
            return None
        return STILL


class SquareUp(Activity):
    """Turns square to a known wall and ranges to it: fixes the position along one axis."""

    spec = ActivitySpec(
        "turn square to a known wall and range to it, which fixes one axis",
        {
            "wall": Parameter(WallName(), "one of the errand's walls; default: the one in reach that tells most"),
            "echoes": Parameter(Number(whole=True), "so many echoes make a fix; default 4", positive=True),
        },
        ("drive", "counts"),  # a robot that hears no walls fails at once, and the behaviour goes on without
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        sensor = known.robot.devices.range
        if sensor is None:
            self.fail(NO_RANGE_FINDER)
            return
        echoes = values.get("echoes", 4)
        heading = _square_to(known, values["wall"]) if "wall" in values else _most_telling(known, sensor, echoes)
        if heading is None:
            self.fail(NO_WALL)
            return
        self._ranging = Ranging(known, heading, echoes)

    def step(self, known: Knowledge) -> Request:
        """Turn to it, then stand and listen."""
        request = self._ranging.request(known)
        if request is not None:
            return request
        return self.fail(self._ranging.why) if self._ranging.why else self.done()


class SurerPosition:
    """Ranging to known walls before it is said that there is no way, since a surer position needs less room.

    The part of other activities that does so, `MOST_FIXES` times at most.
    """

    def __init__(self) -> None:
        self._fixes = 0
        self._square_up: SquareUp | None = None

    def begin(self, known: Knowledge) -> bool:
        """Begin, if that may help; tell whether it does."""
        if self._fixes >= MOST_FIXES or known.filter.position_doubt.worst <= SURE_ENOUGH or known.loaded:
            return False
        self._fixes += 1
        self._square_up = SquareUp(known, {"echoes": ECHOES})
        return True

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, None while it is not at it."""
        square_up = self._square_up
        if square_up is not None and square_up.progress == Progress.UNDER_WAY:
            request = square_up.step(known)
            if square_up.progress == Progress.UNDER_WAY:
                return request
        self._square_up = None
        return None


def _square_to(known: Knowledge, name: str) -> float | None:
    ends = known.errand.field.walls.get(name)
    return None if ends is None else facing(known.pose, *ends)


def _most_telling(known: Knowledge, sensor: RangeKeys, echoes: int) -> float | None:
    """Return the heading (rad) square to the wall in reach that makes the position surest."""
    best: tuple[float, float] | None = None
    for wall in known.ground.walls:
        heading = facing(known.pose, *wall)
        pose = known.pose._replace(heading=heading)
        view = wall_in_view(pose, sensor.mount, 0.5 * sensor.beam, known.ground.walls, known.things)
        if view is not None:
            surer = surer_by_wall(known.filter, pose, view, sensor.mount, echoes), heading
            best = surer if best is None else max(best, surer)
    return None if best is None else best[1]
