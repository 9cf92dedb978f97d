"""Objects to fetch, anywhere: by walls, in corners, beside one another, at the tray, in a closed room."""

import math
from collections.abc import Callable
from functools import partial

from floor import OBJECT, XY, NoRoomError, Rect, Sketch

KINDS = ("amber", "teal", "violet")
BY_WALL = 0.08
"""So far (m) from a wall, or two, objects stand that stand close to it."""


def draw_objects(sketch: Sketch) -> None:
    """Draw one to six objects, one in a closed room mostly, where there is one."""
    draws, floor = sketch.draws, sketch.floor
    rooms = [*floor.rooms, *floor.closed]
    area = sum((one.east - one.west) * (one.north - one.south) for one in rooms)
    count = max(1, min(6, round(0.2 * area) + draws.randrange(-1, 3)))
    ways: list[Callable[[Sketch], XY]] = []
    if floor.closed and draws.random() < 0.7:
        ways.append(lambda sketch: _inside(sketch, draws.choice(floor.closed)))
    drawn = (_anywhere, _by_a_wall, _in_a_corner, _beside_another, _at_the_tray)
    ways += draws.choices(drawn, (45, 20, 12, 15, 5), k=count - len(ways))
    for way in ways:
        try:
            place = sketch.tried(partial(way, sketch), partial(_may_stand, sketch))
        except NoRoomError:
            continue
        floor.objects.append((draws.choice(KINDS), *place))
    if not floor.objects:
        raise NoRoomError
    floor.expect = len(floor.objects) if draws.random() < 0.5 else None


def _inside(sketch: Sketch, room: Rect) -> XY:
    return sketch.uniform(room.west + 0.1, room.east - 0.1), sketch.uniform(room.south + 0.1, room.north - 0.1)


def _anywhere(sketch: Sketch) -> XY:
    return _inside(sketch, sketch.draws.choice(sketch.floor.rooms))


def _by_a_wall(sketch: Sketch) -> XY:
    (x, y), (end_x, end_y) = sketch.draws.choice(sketch.floor.solids)
    length = math.dist((x, y), (end_x, end_y))
    along, side = sketch.draws.random(), sketch.draws.choice((BY_WALL, -BY_WALL)) / length
    return (
        round(x + along * (end_x - x) - side * (end_y - y), 2),
        round(y + along * (end_y - y) + side * (end_x - x), 2),
    )


def _in_a_corner(sketch: Sketch) -> XY:
    at = sketch.draws.randrange(4)
    room = sketch.draws.choice(sketch.floor.rooms)
    one, other = (room.shrunk(sketch.uniform(BY_WALL, 2.0 * BY_WALL)).corners[at] for _ in "xy")
    return one[0], other[1]


def _beside_another(sketch: Sketch) -> XY:
    if not sketch.floor.objects:
        return _anywhere(sketch)
    _, x, y = sketch.draws.choice(sketch.floor.objects)
    apart, angle = sketch.uniform(0.06, 0.12), sketch.draws.uniform(0.0, math.tau)
    return round(x + apart * math.cos(angle), 2), round(y + apart * math.sin(angle), 2)


def _at_the_tray(sketch: Sketch) -> XY:
    """Return a place in the tray, or within 6 cm of it."""
    return _inside(sketch, sketch.floor.tray.shrunk(-0.16))


def _may_stand(sketch: Sketch, point: XY) -> bool:
    floor = sketch.floor
    return (
        floor.clearance(point) > 0.5 * OBJECT + 0.02
        and math.dist(point, floor.start[:2]) > sketch.size.turning + 0.06
        and all(math.dist(point, one[1:]) > OBJECT + 0.008 for one in floor.objects)
    )
