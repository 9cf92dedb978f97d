"""What is probably not meant is told, and nothing of what comes along is."""

from pathlib import Path

import pytest

from rover.readiness.files import check_file
from tests.feasibility.conftest import BOUNDARY, ERRAND, NORTH, PLACES, ROOT, Row, edit, in_errand, in_robot, wall

WALLS = (
    f"  walls:\n{NORTH}    east: [[6 m, 0 m], [6 m, 4 m]]\n"
    "    south: [[0 m, 0 m], [6 m, 0 m]]\n    west: [[0 m, 0 m], [0 m, 4 m]]\n"
)
WARNINGS = {
    "more expected than slots": in_errand("order: nearest", "order: nearest\nexpect: 26", 25, "(25)", "make it larger"),
    "limit above the top speed": in_robot(
        "top_speed: 0.6 m/s", "top_speed: 0.3 m/s", 33, "the limit is above what the drive can do", "0.3 m/s; lower it"
    ),
    "turn rate above the top speed": in_robot(
        "turn_rate: 90 deg/s", "turn_rate: 300 deg/s", 34, "the base turns at 191 deg/s at most", "lower it"
    ),
    "track wider than the body": in_robot(
        "track: 240 mm", "track: 280 mm", 6, "wider than the body (26 cm)", "'width'"
    ),
    "wheel larger than the body": in_robot(
        "wheel_diameter: 72 mm", "wheel_diameter: 72 cm", 5, "larger than the body is long (24 cm)", "the unit"
    ),
    "lid above the camera": in_errand(
        "amber, height: 60 mm", "amber, height: 60 cm", 20, "from nowhere in reach", "'tilt'"
    ),
    "a closed room": in_errand(
        NORTH, wall("[[4 m, 0 m], [4 m, 4 m]]"), 9, "33% of the field cannot be reached", "--picture"
    ),
    "a place too near a wall to turn": in_errand(
        PLACES,
        "  places: {door: {x: 5.85 m, y: 1 m}}\n" + PLACES,
        17,
        "the place 'door' is 15 cm from a wall or the boundary, and a turn on the spot there",
        "move it away",
    ),
    "too few lookouts": in_errand(
        PLACES, "  lookouts: [[2 m, 2 m]]\n" + PLACES, 17, "of the field is seen from none of these", "add lookouts"
    ),
    "a hall": Row(
        {ERRAND: {BOUNDARY: "boundary: [[0 m, 0 m], [60 m, 0 m], [60 m, 40 m], [0 m, 40 m]]", WALLS: ""}},
        f"{ERRAND}:9:",
        "nobody has tried more than 600 m^2",
        "come late",
    ),
    "slots behind a partition": in_errand(
        NORTH,
        wall("[[50 cm, 0 m], [50 cm, 50 cm]]"),
        18,
        "of 25 cannot be driven in to",
        "in a wall; move the tray farther",
    ),
}


@pytest.mark.parametrize("name", WARNINGS)
def test_what_is_probably_not_meant_is_told(name: str, project: Path) -> None:
    row = WARNINGS[name]
    edit(project, row.edits)
    [said] = [str(warning) for warning in check_file(Path(ERRAND)).warnings if row.cause in str(warning)]
    assert said.startswith(row.said)
    assert " warning: " in said
    assert row.change in said


@pytest.mark.parametrize("path", sorted((ROOT / "config").glob("*.yaml")), ids=lambda path: path.stem)
def test_the_files_that_come_along_are_sound(path: Path) -> None:
    assert check_file(path).warnings == ()
