"""What a fault line can have happen on the floor, at once or for a time.

Nothing is put where the robot or an object stands: what would be is not done.
"""

import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import Final, Protocol

from rover.bench.faults import Undo
from rover.bench.floor import Round, Solids
from rover.bench.motors import Encoder
from rover.bench.objects import Piece
from rover.files.bench import POST_RADIUS
from rover.files.errand import Errand
from rover.files.faults import ScheduledFault
from rover.geometry import Pose
from rover.quantities import wrap


class Scene(Protocol):
    """What of the bench something can happen to.

    Attributes:
        x, y, heading: where the robot is (m, m, rad).
        is_stop_pressed: somebody has pressed stop.
    """

    errand: Errand
    solids: Solids
    pieces: list[Piece]
    encoders: tuple[Encoder, Encoder]
    x: float
    y: float
    heading: float
    is_stop_pressed: bool

    @property
    def front(self) -> float:
        """How far (m) the jaws' tips are ahead of the robot's middle."""

    @property
    def is_blocked(self) -> bool:
        """Whether the robot stands in a wall or a post."""

    def to_field(self, ahead: float, left: float) -> tuple[float, float]:
        """Return the place (m, field frame) of a point in the robot's frame (m)."""

    def carry(self) -> None:
        """Bring the held piece's place up to date."""

    def put(self, piece: Piece, x: float, y: float) -> None:
        """Carry a piece elsewhere; one that is held is let go of there."""

    def release(self) -> None:
        """Let go of what is held, if anything is."""

    def look_again(self) -> None:
        """Look for contacts from the next step on."""


def counts_jump(bench: Scene, line: ScheduledFault) -> None:
    """Add counts that no wheel has made."""
    left, right = bench.encoders
    for side in {"left counts": [left], "right counts": [right]}.get(line.of, [left, right]):
        side.jump(int(line.given))


def jar_slips(bench: Scene, line: ScheduledFault) -> None:
    """Let what is held slip out of the jaws."""
    bench.release()


def jar_moved(bench: Scene, line: ScheduledFault) -> None:
    """Carry an object elsewhere."""
    bench.put(bench.pieces[int(line.which) - 1], *line.place)


def obstacle(bench: Scene, line: ScheduledFault) -> Undo:
    """Put a post somewhere."""
    return _post(bench, *line.place)


def obstacle_ahead(bench: Scene, line: ScheduledFault) -> Undo:
    """Put a post before the jaws."""
    return _post(bench, *bench.to_field(bench.front + line.given + POST_RADIUS, 0.0))


def stop_pressed(bench: Scene, line: ScheduledFault) -> None:
    """Have somebody press stop."""
    bench.is_stop_pressed = True


def robot_moved(bench: Scene, line: ScheduledFault) -> None:
    """Push the robot aside."""
    _displace(bench, Pose(bench.x + line.place[0], bench.y + line.place[1], bench.heading))


def robot_turned(bench: Scene, line: ScheduledFault) -> None:
    """Push the robot round."""
    _displace(bench, Pose(bench.x, bench.y, wrap(bench.heading + line.given)))


def marker_moved(bench: Scene, line: ScheduledFault) -> None:
    """Put the tray's marker elsewhere, if there is one."""
    if bench.solids.marker is not None:
        bench.solids.marker = line.place


def wall_moved(bench: Scene, line: ScheduledFault) -> None:
    """Put a wall of the map elsewhere."""
    at = list(bench.errand.field.walls).index(line.which)
    before = bench.solids.walls[at]
    bench.solids.walls[at] = before._replace(x=before.x + line.place[0], y=before.y + line.place[1])
    if bench.is_blocked:
        bench.solids.walls[at] = before
    bench.look_again()


def _post(bench: Scene, x: float, y: float) -> Undo:
    post = Round(x, y, POST_RADIUS)
    bench.carry()
    if any(math.hypot(one.x - x, one.y - y) < one.radius + POST_RADIUS for one in bench.pieces):
        return None
    bench.solids.posts.append(post)
    if bench.is_blocked:
        bench.solids.posts.remove(post)
        return None
    bench.look_again()
    return partial(_take_away, bench, post)


def _take_away(bench: Scene, post: Round) -> None:
    bench.solids.posts.remove(post)
    bench.look_again()


def _displace(bench: Scene, pose: Pose) -> None:
    before = (bench.x, bench.y, bench.heading)
    bench.x, bench.y, bench.heading = pose
    if bench.is_blocked:
        bench.x, bench.y, bench.heading = before
    bench.look_again()


HAPPENINGS: Final[Mapping[str, Callable[[Scene, ScheduledFault], Undo]]] = {
    "counts jump": counts_jump,
    "jar slips": jar_slips,
    "jar moved": jar_moved,
    "obstacle": obstacle,
    "obstacle ahead": obstacle_ahead,
    "stop pressed": stop_pressed,
    "robot moved": robot_moved,
    "robot turned": robot_turned,
    "marker moved": marker_moved,
    "wall moved": wall_moved,
}
"""By the name that a row of `rover.files.fault_table` has for it."""
