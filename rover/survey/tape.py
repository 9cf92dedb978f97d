"""A floor measured with a tape, and typed in."""

from collections.abc import Callable
from typing import TypeVar

from rover.errors import UserError
from rover.geometry import XY, Pose
from rover.quantities import ANGLE, LENGTH, parse_as
from rover.readiness.person import Person
from rover.survey.marks import LEAST_CORNERS, Floor, Point

Asked = TypeVar("Asked")
HOW = (
    "Lengths with their unit, as in 3.2 m, 150 cm. x and y from a corner of your choice, along two directions at right "
    "angles, x forward where the heading sensor reads zero."
)


def typed_in(person: Person) -> tuple[Floor, Pose]:
    """Ask for a floor's measures; return it, and where the robot starts."""
    person.tell(HOW)
    corners: list[XY] = []
    asks = "x, y (Enter alone ends)"
    while (corner := _asked(person, f"corner {len(corners) + 1}: {asks}", _point)) or len(corners) < LEAST_CORNERS:
        corners += [corner] if corner else []
    walls: dict[str, tuple[XY, XY, float]] = {}
    for number, (a, b) in enumerate(zip(corners, [*corners[1:], corners[0]], strict=True), 1):
        if person.choose(f"is there a wall from {_at(a)} to {_at(b)}?", ("yes", "no")) == "yes":
            walls[f"wall_{number}"] = (a, b, 0.0)
    start = None
    while start is None:
        start = _asked(person, "where the robot starts: x, y, heading (0 deg is along x)", _pose)
    tray = _asked(person, "two corners of the tray across from one another: x, y, x, y (Enter alone: none)", _two)
    marker = _asked(person, "the marker's plate: x, y (Enter alone: none)", _point) if tray else None
    places: dict[str, tuple[Pose, float]] = {}
    while place := _asked(person, f"place_{len(places) + 1}: x, y, heading (Enter alone ends)", _pose):
        places[f"place_{len(places) + 1}"] = (place, 0.0)
    exact = tuple(Point(one, 0.0) for one in corners)
    plate = Point(marker, 0.0) if marker else None
    return Floor(exact, walls, tuple(Point(one, 0.0) for one in tray or ()), plate, places, None), start


def _at(corner: XY) -> str:
    return f"({corner[0]:g} m, {corner[1]:g} m)"


def _asked(person: Person, question: str, read: Callable[[list[str]], Asked]) -> Asked | None:
    """Return what is typed, asked for until it can be read; None where only Enter is typed."""
    while typed := person.ask(f"{question}:"):
        try:
            return read([part.strip() for part in typed.split(",")])
        except UserError as error:
            person.tell(str(error))
    return None


def _lengths(parts: list[str], due: int) -> list[float]:
    if len(parts) != due:
        raise UserError(f"{due} values are due here, with commas between")
    return [parse_as(part, LENGTH) for part in parts]


def _point(parts: list[str]) -> XY:
    x, y = _lengths(parts, 2)
    return x, y


def _two(parts: list[str]) -> tuple[XY, XY]:
    a, b, c, d = _lengths(parts, 4)
    return (a, b), (c, d)


def _pose(parts: list[str]) -> Pose:
    if len(parts) != 3:
        raise UserError("three values are due here, as in 1 m, 50 cm, 90 deg")
    x, y = _lengths(parts[:2], 2)
    return Pose(x, y, parse_as(parts[2], ANGLE))
