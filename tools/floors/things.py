"""What stands on a floor besides its walls: the tray, the robot, posts and walls that the map has or has not."""

import math

from floor import XY, NoRoomError, Rect, Segment, Sketch, touches, turned_rect


def draw_tray(sketch: Sketch) -> None:
    """Draw the tray, with room before it, against a wall, in a corner or amid a room; some have one slot only."""
    floor, is_small = sketch.floor, sketch.draws.random() < 0.08

    def drawn() -> tuple[Rect, int, Rect] | None:
        return _tray_in(sketch, sketch.draws.choice(floor.rooms), is_small)

    tray, floor.entry, _ = sketch.tried(drawn, lambda one: one is not None and _is_tray_free(sketch, *one))
    floor.tray = tray
    if sketch.draws.random() < 0.6:
        angle = math.radians(floor.entry)
        middle_x, middle_y = 0.5 * (tray.west + tray.east), 0.5 * (tray.south + tray.north)
        half_x, half_y = 0.5 * (tray.east - tray.west) + 0.03, 0.5 * (tray.north - tray.south) + 0.03
        reach = min(half_x / max(1e-9, abs(math.cos(angle))), half_y / max(1e-9, abs(math.sin(angle))))
        floor.marker = (round(middle_x + reach * math.cos(angle), 2), round(middle_y + reach * math.sin(angle), 2))


def _tray_in(sketch: Sketch, room: Rect, is_small: bool) -> tuple[Rect, int, Rect] | None:
    """Return a tray in a room, its entry (deg), and what has to be free before it; None: it has no room."""
    draws, size = sketch.draws, sketch.size
    along, across = (0.28, 0.28) if is_small else (sketch.uniform(0.5, 1.2), sketch.uniform(0.5, 1.2))
    before = size.front + size.rear + 0.4
    entry = draws.choice((0, 90, 180, 270))
    where = draws.choices(("wall", "corner", "amid"), (45, 25, 30))[0]
    # As if it were entered eastwards, in a room that is turned; the tray is turned back with it.
    turned = turned_rect(room, -entry)
    beside = sketch.uniform(max(0.03, 0.5 * size.width - 0.05), 0.5 * size.width + 0.1)
    if where == "amid":
        east = sketch.uniform(turned.west + before + along, turned.east - 0.3)
    else:
        east = round(turned.east - sketch.uniform(0.04, 0.16), 2)
    if where == "corner":
        south = round(turned.south + beside if draws.random() < 0.5 else turned.north - beside - across, 2)
    else:
        south = sketch.uniform(turned.south + beside, turned.north - beside - across)
    tray = Rect(round(east - along, 2), south, east, round(south + across, 2))
    free = Rect(tray.west - before, tray.south - 0.02, tray.east, tray.north + 0.02)
    around = turned.shrunk(0.02)
    if not (around.holds(free.corners[0]) and around.holds(free.corners[2])):
        return None
    tray, free = turned_rect(tray, entry), turned_rect(free, entry)
    if where == "amid" and draws.random() < 0.7:
        entry = (entry + draws.choice((-30, -20, 20, 30, 45))) % 360
        free = tray.shrunk(-before)
        if not (room.holds(free.corners[0]) and room.holds(free.corners[2])):
            return None
    return tray, entry, free


def _is_tray_free(sketch: Sketch, tray: Rect, entry: int, free: Rect) -> bool:
    """Whether nothing stands in a tray, nor before it, nor it in a doorway."""
    around = tray.shrunk(-0.02)
    in_the_way = any(touches(wall, free) or touches(wall, around) for wall in sketch.floor.walls.values())
    wide = tray.shrunk(-sketch.size.width - 0.3)
    return not in_the_way and not any(touches(doorway, wide) for doorway in sketch.floor.doorways)


def draw_start(sketch: Sketch) -> None:
    """Draw where the robot is set down: anywhere that is free, in any heading."""
    floor, draws = sketch.floor, sketch.draws

    def drawn() -> XY:
        room = draws.choice(floor.rooms)
        return sketch.uniform(room.west, room.east), sketch.uniform(room.south, room.north)

    def is_free(point: XY) -> bool:
        return floor.clearance(point) > sketch.size.turning + 0.06 and not floor.tray.shrunk(
            -sketch.size.turning - 0.05
        ).holds(point)

    x, y = sketch.tried(drawn, is_free)
    floor.start = (x, y, draws.choice((0, 90, 180, 270, draws.randrange(360), draws.randrange(360))))


def _is_out_of_the_way(sketch: Sketch, point: XY, radius: float) -> bool:
    """Whether a post may stand there: off the start, the tray and the way into it, and off doorways."""
    floor, size = sketch.floor, sketch.size
    before = size.front + size.rear + 0.4
    return (
        math.dist(point, floor.start[:2]) > size.turning + radius + 0.08
        and not floor.tray.shrunk(-before - radius).holds(point)
        and floor.from_doorways(point) > size.turning + radius + 0.2
        and floor.clearance(point) > radius
    )


def _somewhere(sketch: Sketch) -> XY:
    west, south = (min(one) for one in zip(*sketch.floor.boundary, strict=True))
    east, north = (max(one) for one in zip(*sketch.floor.boundary, strict=True))
    return sketch.uniform(west, east), sketch.uniform(south, north)


def draw_post(sketch: Sketch, number: int) -> None:
    """Draw a square post that the map has, if there is room."""
    half = sketch.uniform(0.04, 0.12)
    try:
        x, y = sketch.tried(lambda: _somewhere(sketch), lambda point: _is_out_of_the_way(sketch, point, 1.5 * half))
    except NoRoomError:
        return
    post = Rect(round(x - half, 2), round(y - half, 2), round(x + half, 2), round(y + half, 2))
    sketch.floor.posts.append(post)
    corners = post.corners
    for name, one, other in zip("abcd", corners, (*corners[1:], corners[0]), strict=True):
        sketch.floor.walls[f"post_{number}{name}"] = (one, other)


def draw_hidden_post(sketch: Sketch) -> None:
    radius = sketch.uniform(0.03, 0.08)
    try:
        x, y = sketch.tried(lambda: _somewhere(sketch), lambda point: _is_out_of_the_way(sketch, point, radius))
    except NoRoomError:
        return
    sketch.floor.hidden_posts.append((x, y, radius))


def draw_hidden_wall(sketch: Sketch) -> None:
    length, is_upright = sketch.uniform(0.3, 0.8), sketch.draws.random() < 0.5
    half = 0.5 * length

    def ends(x: float, y: float) -> Segment:
        dx, dy = (0.0, half) if is_upright else (half, 0.0)
        return (round(x - dx, 2), round(y - dy, 2)), (round(x + dx, 2), round(y + dy, 2))

    def is_good(point: XY) -> bool:
        return all(_is_out_of_the_way(sketch, one, 0.02) for one in (*ends(*point), point))

    try:
        sketch.floor.hidden_walls.append(ends(*sketch.tried(lambda: _somewhere(sketch), is_good)))
    except NoRoomError:
        return
