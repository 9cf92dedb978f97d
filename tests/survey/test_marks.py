"""From marks to a floor, by hand-made marks."""

import math
from pathlib import Path

import pytest

from rover.errors import UserError
from rover.files import load
from rover.geometry import Pose
from rover.survey.errand_text import field_block, new_errand, with_field
from rover.survey.marks import Mark, What, floor_of
from rover.survey.track import Stand

CONFIG = Path(__file__).parents[2] / "config"
CART = load.load(CONFIG / "cart.yaml", "robot").model
REACH, FACE = CART.body.gripper_reach, CART.devices.range.mount.ahead
START = Pose(0.0, 0.0, 0.0)


def at(what: What, x: float, y: float, degrees: float = 0.0, *, echo: float = 0.0, way: float = 0.0) -> Mark:
    """Return a mark whose jaws are at a point, or before a wall one whose middle is there."""
    heading = math.radians(degrees)
    back = 0.0 if what in (What.WALL, What.PLACE) else REACH
    pose = Pose(x - back * math.cos(heading), y - back * math.sin(heading), heading)
    return Mark(what, Stand(pose, 0.01, 0.0, way), echo)


def corners(*points: tuple[float, float]) -> list[Mark]:
    return [at(What.CORNER, x, y, 40.0 * number, way=float(number)) for number, (x, y) in enumerate(points)]


def xys(floor) -> list[tuple[float, float]]:
    return [(round(x, 3), round(y, 3)) for (x, y), _ in floor.boundary]


SQUARE = ((0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0))


def test_a_corner_is_where_the_jaws_are():
    assert xys(floor_of(corners(*SQUARE), CART)) == list(SQUARE)


def test_the_first_corner_once_more_closes_the_round():
    """What it is off by is spread over the way: a quarter of it at the first quarter of the way."""
    drifted = [(x + 0.1 * share, y - 0.04 * share) for share, (x, y) in zip((0, 0.25, 0.5, 0.75), SQUARE, strict=True)]
    floor = floor_of(corners(*drifted, (0.1, -0.04)), CART)
    assert floor.closing == pytest.approx(math.hypot(0.1, 0.04))
    assert xys(floor) == list(SQUARE)


def test_walls_all_round_meet_at_the_corners():
    looks = [(-90.0, 1.0), (0.0, 1.5), (90.0, 1.0), (180.0, 1.5)]
    marks = [at(What.WALL, 1.5, 1.0, degrees + 3.0, echo=away - FACE) for degrees, away in looks]
    turned = floor_of(marks, CART)
    assert {name: len(wall) for name, wall in turned.walls.items()} == dict.fromkeys(
        ("south", "east", "north", "west"), 3
    )
    sides = [math.dist(a.xy, b.xy) for a, b in zip(turned.boundary, turned.boundary[1:], strict=False)]
    assert sides == pytest.approx([2.0, 3.0, 2.0], abs=0.01), "right angles, however the robot stood"


def test_a_corner_near_a_wall_stands_at_it():
    wall = at(What.WALL, 1.5, 1.0, -90.0, echo=1.0 - FACE)
    marks = [*corners((0.0, 0.08), (3.0, 0.05), (3.0, 2.0), (0.0, 2.0)), wall]
    floor = floor_of(marks, CART)
    assert xys(floor) == list(SQUARE)
    assert [round(value, 3) for end in floor.walls["south"][:2] for value in end] == [0.0, 0.0, 3.0, 0.0]


def block_of(*marks: Mark) -> str:
    return field_block(floor_of(marks, CART), START, "1 May 2026")


TRAY = (at(What.TRAY, 0.2, 0.2), at(What.TRAY, 1.0, 0.9, 90.0), at(What.MARKER, 0.1, 0.5, 180.0))


def test_the_block_says_how_sure_each_place_is_and_reads_as_a_field(tmp_path):
    block = block_of(*corners(*SQUARE), *TRAY, at(What.PLACE, 2.0, 1.0, 90.0))
    assert "field:  # surveyed on 1 May 2026; +- are 95 %" in block
    assert "    - [3 m, 0 m]  # +- 2 cm" in block
    assert "  zone: {x: 0.6 m, y: 0.55 m, width: 0.8 m, depth: 0.7 m, marker: [0.1 m, 0.5 m]}  # +- 2 cm" in block
    assert "    place_1: {x: 2 m, y: 1 m, heading: 90 deg}  # +- 2 cm" in block
    file = tmp_path / "new.yaml"
    file.write_text(new_errand(block, CART, "cart.yaml"), encoding="utf-8")
    errand = load.load(file, "errand").model
    assert errand.files.behaviour == "collect"
    assert set(errand.kinds) == {"amber", "teal", "violet"}


def test_without_a_tray_a_new_errand_roams(tmp_path):
    text = new_errand(block_of(*corners(*SQUARE)), CART, "cart.yaml")
    assert "behaviour: roam" in text
    assert "kinds:" not in text


@pytest.mark.parametrize(
    ("marks", "why"),
    [
        (corners(*SQUARE[:2]), "2 corners are marked, and three are due"),
        ([*corners(*SQUARE), TRAY[0]], "mark two that lie"),
    ],
)
def test_too_few_marks_are_refused(marks, why):
    with pytest.raises(UserError, match=why):
        block_of(*marks)


def test_an_errand_that_is_there_keeps_all_but_its_field(tmp_path):
    text = (CONFIG / "greenhouse.yaml").read_text("utf-8")
    before, _, rest = text.partition("field:")
    kinds = rest[rest.index("kinds:") :]
    changed = with_field(text, block_of(*corners(*SQUARE)), tmp_path / "greenhouse.yaml")
    assert changed == f"{before}{block_of(*corners(*SQUARE))}\n{kinds}"


def test_one_without_a_field_on_a_line_of_its_own_is_left_alone(tmp_path):
    with pytest.raises(UserError, match="it has no 'field:' on a line of its own"):
        with_field("{errand: A, field: {}}", "field: {}\n", tmp_path / "a.yaml")
