"""Errands that cannot work, made of the demo's by small edits: each is refused, with what to change."""

import re
from pathlib import Path

import pytest

from rover.commands import main as cli
from rover.files.problems import FileProblems
from rover.readiness.files import check_file
from tests.feasibility.conftest import (
    BOUNDARY,
    ERRAND,
    NORTH,
    PLACES,
    ROBOT,
    Row,
    edit,
    in_errand,
    in_robot,
    wall,
    zone,
)

START = "start: {x: 2 m, y: 60 cm, heading: 0 deg}"
ZONE = "zone: {x: 75 cm, y: 75 cm, width: 1.2 m, depth: 1.2 m, entry: 180 deg, marker: [10 cm, 75 cm]}"
NO_SUCH_MACHINE = "no machine of this kind has this"

ROWS = {
    # the field
    "boundary crosses itself": in_errand(
        BOUNDARY,
        "boundary: [[0 m, 0 m], [6 m, 4 m], [6 m, 0 m], [0 m, 4 m]]",
        9,
        "meets the side that begins at the 1st",
        "write the corners in the order in which one walks round the field",
    ),
    "boundary runs back on itself": in_errand(
        BOUNDARY,
        "boundary: [[0 m, 0 m], [6 m, 0 m], [6 m, 4 m], [0 m, 4 m], [0 m, 5 m]]",
        9,
        "meets the side that begins at the 3rd",
        "write the corners in the order",
    ),
    "boundary of two corners": in_errand(
        BOUNDARY, "boundary: [[0 m, 0 m], [6 m, 4 m]]", 9, "too few here: 2", "at least 3 due"
    ),
    "boundary without an area": in_errand(
        BOUNDARY,
        "boundary: [[0 m, 0 m], [2 m, 1 m], [6 m, 3 m]]",
        9,
        "these points lie on one line",
        "corner by corner",
    ),
    "boundary in kilometres": in_errand(
        "[6 m, 4 m], [0 m, 4 m]]\n  start", "[6000 m, 4 m], [0 m, 4 m]]\n  start", 9, NO_SUCH_MACHINE, "1 km can be"
    ),
    "wall from a place to itself": in_errand(
        NORTH, wall("[[3 m, 1 m], [3 m, 1 m]]"), 14, "both ends of this wall are the same place", "write where it ends"
    ),
    # the start
    "start outside": in_errand(
        START, "start: {x: 8 m, y: 60 cm, heading: 0 deg}", 10, "the start lies outside", "move it inside"
    ),
    "start in a wall": in_errand(
        START, "start: {x: 2 m, y: 10 cm, heading: 0 deg}", 10, "stand 3 cm in the boundary here", "move the start"
    ),
    "start with the jaws in a wall": in_errand(
        START,
        "start: {x: 5.85 m, y: 2 m, heading: 0 deg}",
        10,
        "the body, with its jaws, would stand 4 cm in",
        "turn it",
    ),
    "start in a closet": in_errand(
        NORTH,
        wall("[[1.8 m, 0 m], [1.8 m, 80 cm]]", "[[1.8 m, 80 cm], [2.2 m, 80 cm]]", "[[2.2 m, 80 cm], [2.2 m, 0 m]]"),
        20,
        "cannot be reached from the start: boundary or walls shut it off",
        "leave a doorway",
    ),
    "start in a slit": in_errand(
        NORTH,
        wall("[[0 m, 45 cm], [6 m, 45 cm]]", "[[0 m, 75 cm], [6 m, 75 cm]]"),
        10,
        "the body cannot leave from here",
        "use a narrower body",
    ),
    # the tray
    "no tray": in_errand(f"  {ZONE}\n", "", 8, "sets things down", "add 'zone: {x: "),
    "tray outside": in_errand(
        ZONE, zone("x: 75 m, y: 75 cm, width: 1.2 m, depth: 1.2 m"), 17, "the tray lies outside", "move it inside"
    ),
    "tray sticks out": in_errand(
        ZONE,
        zone("x: 30 cm, y: 75 cm, width: 1.2 m, depth: 1.2 m, entry: 180 deg"),
        17,
        "a corner of the tray lies outside",
        "move it inside",
    ),
    "tray behind a wall": in_errand(
        NORTH,
        wall("[[1.5 m, 0 m], [1.5 m, 1.8 m]]", "[[1.5 m, 1.8 m], [0 m, 1.8 m]]"),
        19,
        "the body or the jaws would be in a wall",
        "move the tray farther from it",
    ),
    "tray in a room without a door": in_errand(
        NORTH,
        wall("[[1.9 m, 0 m], [1.9 m, 1.8 m]]", "[[1.9 m, 1.8 m], [0 m, 1.8 m]]"),
        19,
        "cannot be reached from the start: boundary or walls shut it off",
        "leave a doorway",
    ),
    "body wider than the doorway": Row(
        {ERRAND: {NORTH: wall("[[3 m, 0 m], [3 m, 1.8 m]]", "[[3 m, 2.1 m], [3 m, 4 m]]"), "x: 2 m": "x: 5 m"}},
        f"{ERRAND}:19:",
        "the widest way there is 30 cm wide at x 3.00 m, y 1.95 m",
        "the body, 26 cm wide, needs 36 cm; widen it",
    ),
    "body wider than every doorway": Row(
        {
            ERRAND: {
                NORTH: wall("[[3 m, 0 m], [3 m, 80 cm]]", "[[3 m, 1.2 m], [3 m, 3 m]]", "[[3 m, 3.48 m], [3 m, 4 m]]"),
                "x: 2 m": "x: 5 m",
            },
            ROBOT: {"width: 26 cm": "width: 42 cm"},
        },
        f"{ERRAND}:20:",
        "the widest way there is 48 cm wide at x 3.00 m, y 3.24 m",
        "the body, 42 cm wide, needs 52 cm; widen it",
    ),
    "tray too narrow for the jaws": in_errand(
        ZONE,
        zone("x: 75 cm, y: 75 cm, width: 1.2 m, depth: 15 cm, entry: 180 deg"),
        17,
        "no room for one slot and the jaws",
        "make this 20 cm or more",
    ),
    "tray too short for the jaws": in_errand(
        ZONE,
        zone("x: 75 cm, y: 75 cm, width: 6 cm, depth: 1.2 m, entry: 180 deg"),
        17,
        "no room for one slot and the jaws",
        "make this 11 cm or more",
    ),
    "tray entered from the wall": in_errand(
        ZONE,
        zone("x: 75 cm, y: 75 cm, width: 1.2 m, depth: 1.2 m, entry: 0 deg"),
        17,
        "heading 0 deg, the body or the jaws would be in the boundary",
        "write 'entry: 180 deg'",
    ),
    "tray within the margin off walls": Row(
        {
            ROBOT: {"stop_gap: 8 cm": "stop_gap: 8 cm\n  boundary_margin: 80 cm"},
            ERRAND: {"width: 1.2 m": "width: 40 cm"},
        },
        f"{ERRAND}:17:",
        "would come nearer than 'boundary_margin' (80 cm) to the boundary",
        "move the tray farther from it",
    ),
    # what else has a place
    "lookout outside": in_errand(
        PLACES, "  lookouts: [[2 m, 2 m], [2 m, 5 m]]\n" + PLACES, 17, "this lookout lies outside", "move it inside"
    ),
    "lookout in a wall": in_errand(
        PLACES,
        "  lookouts: [[2 m, 2 m], [2 m, 3.95 m]]\n" + PLACES,
        17,
        "this lookout is 5 cm from a wall or the boundary",
        "the body, 26 cm wide, needs 13 cm there",
    ),
    "lookout shut off": Row(
        {
            ERRAND: {
                NORTH: wall("[[4 m, 0 m], [4 m, 4 m]]"),
                PLACES: "  lookouts: [[2 m, 2 m], [5 m, 2 m]]\n" + PLACES,
            }
        },
        f"{ERRAND}:18:",
        "this lookout cannot be reached from the start",
        "leave a doorway, or move it",
    ),
    "named place outside": in_errand(
        PLACES, "  places: {door: {x: 7 m, y: 1 m}}\n" + PLACES, 17, "the place 'door' lies outside", "move it inside"
    ),
    "named place shut off": Row(
        {
            ERRAND: {
                NORTH: wall("[[4 m, 0 m], [4 m, 3.7 m]]"),
                PLACES: "  places: {door: {x: 5 m, y: 1 m}}\n" + PLACES,
            }
        },
        f"{ERRAND}:18:",
        "the place 'door' cannot be reached from the start: the widest way there is 30 cm wide",
        "needs 36 cm; widen it",
    ),
    "marker outside": in_errand(
        "marker: [10 cm, 75 cm]", "marker: [-10 cm, 75 cm]", 17, "the tray's marker lies outside", "move it inside"
    ),
    "marker behind a wall": in_errand(
        NORTH,
        wall("[[12 cm, 0 m], [12 cm, 4 m]]"),
        18,
        "the camera cannot sight the marker here",
        "move it to where the tray is seen from",
    ),
    # objects
    "object wider than the jaws": Row(
        {
            ROBOT: {"feedback: none": "feedback: none, opens_to: 55 mm"},
            ERRAND: {"{lid: violet, height: 60 mm, width: 50": "{lid: violet, height: 60 mm, width: 60"},
        },
        f"{ERRAND}:22:",
        "the open jaws take less than this",
        "'opens_to' is 55 mm",
    ),
    # numbers
    "wheel of 125 m": in_robot(
        "wheel_diameter: 72 mm", "wheel_diameter: 125 m", 5, NO_SUCH_MACHINE, "1 cm to 1 m can be"
    ),
    "track of 2 mm": in_robot("track: 240 mm", "track: 2 mm", 6, NO_SUCH_MACHINE, "3 cm to 3 m can be"),
    "loop of 1 kHz": in_robot("loop: 50 Hz", "loop: 1 kHz", 2, NO_SUCH_MACHINE, "5 Hz to 200 Hz can be"),
    "camera at 30 m": in_robot("height: 22 cm", "height: 30 m", 21, NO_SUCH_MACHINE, "1 cm to 3 m can be"),
    "camera that sees all round": in_robot(
        "field_of_view: 60 deg", "field_of_view: 360 deg", 21, NO_SUCH_MACHINE, "5 deg to 170 deg can be"
    ),
    "camera that looks over everything": in_robot(
        "tilt: 15 deg", "tilt: -30 deg", 21, "it sees no ground within its 'sees_to' of 2.5 m", "tilt it down"
    ),
    "one count a turn": in_robot(
        "counts_per_rev: 1320", "counts_per_rev: 1", 8, NO_SUCH_MACHINE, "4 to 1000000 can be"
    ),
    "faster than a horse": in_robot(
        "  speed: 0.4 m/s", "  speed: 40 m/s", 33, NO_SUCH_MACHINE, "1 cm/s to 10 m/s can be"
    ),
    "range finder that can tell nothing": in_robot(
        "most: 4 m", "least: 50 cm, most: 20 cm", 20, "no distance is left that it can tell", "'most' is 20 cm"
    ),
    "jaws as long as a crane": in_robot(
        "gripper_reach: 16 cm", "gripper_reach: 16 m", 11, NO_SUCH_MACHINE, "2 m can be"
    ),
    "lid as wide as a barrel": in_errand(
        "teal: {lid: teal, height: 60 mm, width: 50 mm}",
        "teal: {lid: teal, height: 60 mm, width: 50 m}",
        21,
        NO_SUCH_MACHINE,
        "1 mm to 1 m can be",
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_what_cannot_work_is_refused(name: str, project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    row = ROWS[name]
    edit(project, row.edits)
    with pytest.raises(SystemExit) as ended:
        cli.main(["check", ERRAND])
    captured = capsys.readouterr()
    assert ended.value.code == cli.UNUSABLE
    assert captured.out == ""
    *lines, last = captured.err.splitlines()
    assert last.endswith("; nothing was run")
    [line] = [line for line in lines if row.cause in line]
    assert re.match(rf"{re.escape(row.said)}\d+: ", line)
    assert row.change in line


def test_there_are_thirty_of_them() -> None:
    assert len(ROWS) >= 30


def test_all_mistakes_of_the_field_are_told_at_once(project: Path) -> None:
    edit(
        project,
        {
            ERRAND: {
                START: "start: {x: 2 m, y: 5 cm}",
                ZONE: zone("x: 75 cm, y: 75 cm, width: 1.2 m, depth: 15 cm, entry: 180 deg"),
                "  walls:\n": "  lookouts: [[3 m, 5 cm]]\n  walls:\n",
            }
        },
    )
    with pytest.raises(FileProblems) as told:
        check_file(Path(ERRAND))
    assert [problem.line for problem in told.value.problems] == [10, 12, 18]
