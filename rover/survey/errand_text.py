"""A surveyed floor as the text of an errand file: a new one, or the ``field:`` block of one that is there."""

import math
from collections.abc import Iterator
from pathlib import Path

from rover.errors import UserError
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.geometry import XY, Pose
from rover.survey.marks import LEAST_CORNERS, Floor, Point

LID = "height: 60 mm, width: 50 mm"


def field_block(floor: Floor, start: Pose, day: str) -> str:
    """Return the ``field:`` block, with how sure each place is behind it.

    Raises:
        UserError: there is no boundary, or less than a tray in it.
    """
    if len(floor.boundary) < LEAST_CORNERS:
        raise UserError(
            f"{len(floor.boundary)} corners are marked, and three are due: corners, or the walls of a room all round"
        )
    if len(floor.tray) == 1:
        raise UserError("one corner of the tray: mark two that lie across from one another")
    return "".join(f"{line}\n" for line in _lines(floor, start, day))


def _lines(floor: Floor, start: Pose, day: str) -> Iterator[str]:
    closed = "" if floor.closing is None else f"; the round closed to {floor.closing * 100:.0f} cm"
    yield f"field:  # surveyed on {day}{closed}; +- are 95 %"
    yield "  boundary:"
    for corner in floor.boundary:
        yield f"    - {_at(corner.xy)}{_sure(corner.sigma)}"
    yield f"  start: {{{_pose(start)}}}"
    if floor.walls:
        yield "  walls:"
    for name, (a, b, sigma) in floor.walls.items():
        yield f"    {name}: [{_at(a)}, {_at(b)}]{_sure(sigma)}"
    if floor.tray:
        yield f"  zone: {{{_tray(floor.tray, floor.marker)}}}{_sure(max(one.sigma for one in floor.tray))}"
    if floor.places:
        yield "  places:"
    for name, (pose, sigma) in floor.places.items():
        yield f"    {name}: {{{_pose(pose)}}}{_sure(sigma)}"


def _tray(corners: tuple[Point, ...], marker: Point | None) -> str:
    xs, ys = [one.xy[0] for one in corners], [one.xy[1] for one in corners]
    middle = f"x: {_m(sum((min(xs), max(xs))) / 2)}, y: {_m(sum((min(ys), max(ys))) / 2)}"
    plate = "" if marker is None else f", marker: {_at(marker.xy)}"
    return f"{middle}, width: {_m(max(xs) - min(xs))}, depth: {_m(max(ys) - min(ys))}{plate}"


def _m(metres: float) -> str:
    return f"{round(metres, 2) + 0.0:g} m"


def _at(point: XY) -> str:
    return f"[{_m(point[0])}, {_m(point[1])}]"


def _pose(pose: Pose) -> str:
    return f"x: {_m(pose.x)}, y: {_m(pose.y)}, heading: {round(math.degrees(pose.heading), 1) + 0.0:g} deg"


def _sure(sigma: float) -> str:
    return f"  # +- {max(1.0, 196.0 * sigma):.0f} cm" if sigma else ""


def new_errand(block: str, robot: Robot, robot_file: str) -> str:
    """Return a whole errand: it brings in what has a lid of the robot's colours, or without a tray it roams."""
    fetches = "\n  zone:" in f"\n{block}" and bool(robot.colours)
    behaviour = "collect" if fetches else "roam"
    kinds = "".join(f"  {name}: {{lid: {name}, {LID}}}\n" for name in robot.colours)
    head = f"errand: A surveyed floor\n\nfiles: {{robot: {robot_file}, behaviour: {behaviour}}}\n\n"
    return f"{head}{block}" + (f"\nkinds:  # measure one of each\n{kinds}" if fetches else "")


def with_field(text: str, block: str, path: Path) -> str:
    """Return an errand's text with another ``field:`` block; all that stands outside it stays as it is.

    Raises:
        FileProblems: it is no YAML.
        UserError: its field is written in a line of braces, or it has none.
    """
    source = yaml_source.read_text(text, path, path.name)
    lines = text.splitlines(keepends=True)
    first = source.key_spots.get(("field",))
    if first is None or first.column != 1:
        raise UserError(f"{path}: it has no 'field:' on a line of its own; add one, or name a new file")
    begins = first.line - 1
    rows = range(begins + 1, len(lines))
    ends = next((row for row in rows if lines[row].strip() and not lines[row].startswith((" ", "#", "-"))), len(lines))
    while ends > begins + 1 and (not lines[ends - 1].strip() or lines[ends - 1].startswith("#")):
        ends -= 1  # blanks and comments before the next key are about that
    return "".join([*lines[:begins], block, *lines[ends:]])
