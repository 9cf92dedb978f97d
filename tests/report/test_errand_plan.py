"""The picture of an errand's floor: a drawing that stands alone, with what the errand has and nothing else."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from rover.commands import main as cli

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def errand(project: Path) -> Path:
    """The demo's errand, in a copy of its files."""
    return Path("config/greenhouse.yaml")


def check(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as ended:
        cli.main(["check", *map(str, arguments)])
    return int(ended.value.code or 0)


def words_in(picture: Path) -> set[str]:
    return {element.text or "" for element in ElementTree.parse(picture).iter(f"{SVG}text")}


def area_of(picture: Path, path: int) -> float:
    """Return the area (picture units) of the squares in one of its shades."""
    shades = [one.attrib["d"] for one in ElementTree.parse(picture).iter(f"{SVG}path") if "fill-opacity" in one.attrib]
    boxes = [box.replace("v", "h").split("h") for box in shades[path].split("z") if box]
    return sum(float(width) * float(height) for _, width, height, _ in boxes)


def test_it_is_written_beside_the_errand(errand: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(errand, "--picture") == 0
    assert "picture: config/greenhouse-floor.svg" in capsys.readouterr().out.splitlines()
    assert {"north", "start, and the body to scale", "gate of the first slot", "marker at the tray", "1 m"} <= words_in(
        Path("config/greenhouse-floor.svg")
    )


def test_it_is_written_where_one_says(errand: Path) -> None:
    assert check(errand, "--picture", "floor.svg") == 0
    assert ElementTree.parse("floor.svg").getroot().tag == f"{SVG}svg"


def test_an_errand_without_tray_and_lookouts_has_no_sign_of_them(errand: Path) -> None:
    assert check("config/roam.yaml", "--picture", "floor.svg") == 0
    words = words_in(Path("floor.svg"))
    assert "tray, slots" not in words
    assert "gate of the first slot" not in words
    assert "wall" in words


def test_named_places_stand_there_by_name(errand: Path) -> None:
    assert check("config/patrol.yaml", "--picture", "floor.svg") == 0
    assert {"door", "window", "bench", "tank", "named place"} <= words_in(Path("floor.svg"))


def test_ground_that_is_shut_off_is_not_shaded(errand: Path) -> None:
    check(errand, "--picture", "whole.svg")
    wall = "    north: [[0 m, 4 m], [6 m, 4 m]]\n"
    errand.write_text(errand.read_text().replace(wall, f"{wall}    across: [[3 m, 0 m], [3 m, 4 m]]\n"))
    check(errand, "--picture", "half.svg")
    for shade in (0, 1):
        assert area_of(Path("half.svg"), shade) == pytest.approx(0.5 * area_of(Path("whole.svg"), shade), rel=0.06)
    assert "across" in words_in(Path("half.svg"))


def test_what_cannot_work_is_drawn_and_then_refused(errand: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wall = "    north: [[0 m, 4 m], [6 m, 4 m]]\n"
    text = errand.read_text().replace(wall, f"{wall}    across: [[3 m, 0 m], [3 m, 3.7 m]]\n")
    errand.write_text(text.replace("start: {x: 2 m", "start: {x: 5 m"))
    assert check(errand, "--picture") == cli.UNUSABLE
    assert "cannot be reached from the start" in capsys.readouterr().err
    assert "30 cm" in words_in(Path("config/greenhouse-floor.svg"))


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (["--picture"], "--picture draws the floor of an errand; name its file before it"),
        (["--picture", "config/greenhouse.yaml"], "the picture's name ends with .svg, and the errand stands before"),
        (["config/cart.yaml", "--picture"], "this is a robot file, but an errand file is due here"),
        (["config/greenhouse.yaml", "--picture", "nowhere/floor.svg"], "nowhere/floor.svg: No such file or directory"),
    ],
)
def test_what_cannot_be_drawn(arguments: list[str], why: str, errand: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(*arguments) == cli.UNUSABLE
    assert why in capsys.readouterr().err


def test_names_cannot_break_the_picture(errand: Path) -> None:
    text = errand.read_text().replace("errand: Bring the specimen jars in", 'errand: "<b>&\\u0007 jars"')
    errand.write_text(text)
    assert check(errand, "--picture", "floor.svg") == 0
    assert "<b>& jars" in (ElementTree.parse("floor.svg").getroot().findtext(f"{SVG}title") or "").replace("\ufffd", "")
