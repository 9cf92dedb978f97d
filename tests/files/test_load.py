from pathlib import Path

import pytest

from rover.devices.drive.keys import DriveKeys
from rover.files import load
from rover.files.behaviour import Behaviour
from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.load import keys_of, model_at
from rover.files.problems import FileProblems
from rover.files.robot import Body, Colour, Robot
from rover.files.yaml_source import Source, read_text

ROOT = Path(__file__).parents[2]


def kind_by_first_word(path: Path) -> str:
    first = next(line for line in path.read_text().splitlines() if line and not line.startswith("#"))
    return first.partition(":")[0]


@pytest.mark.parametrize("path", sorted([*ROOT.glob("config/*.yaml"), *ROOT.glob("behaviours/**/*.yaml")]), ids=str)
def test_every_file_of_the_project_loads(path: Path) -> None:
    kind = kind_by_first_word(path)
    assert isinstance(load.load(path, kind).model, load.KINDS[kind])


def source(text: str) -> Source:
    return read_text(text, Path("file.yaml"), "file.yaml")


def told(model: type, text: str) -> list[str]:
    with pytest.raises(FileProblems) as refused:
        load.build(model, source(text))
    return [str(problem) for problem in refused.value.problems]


def test_a_key_that_is_missing_and_one_that_is_unknown_are_one_mistake_when_they_are_near() -> None:
    text = "wheel_diameter: 72 mm\ntrak: 240 mm\ncounts_per_rev: 1320\ngripper_reach: 16 cm\n"
    assert told(Body, text) == ["file.yaml:2:1: 'trak': unknown key; did you mean 'track'?"]


def test_a_key_that_is_missing_and_one_that_is_unknown_are_two_mistakes_when_they_are_not() -> None:
    text = "wheel_diameter: 72 mm\ncolour: red\ncounts_per_rev: 1320\ngripper_reach: 16 cm\n"
    first, second = told(Body, text)
    assert first == "file.yaml:1:1: the key 'track' is missing here"
    assert second.startswith("file.yaml:2:1: 'colour': unknown key (known here: ")


def test_a_misspelt_driver_is_found_although_any_key_is_allowed_beside_it() -> None:
    assert told(DriveKeys, "drivr: simulated\n") == ["file.yaml:1:1: 'drivr': unknown key; did you mean 'driver'?"]


def test_a_key_with_nothing_behind_it_is_told_once() -> None:
    assert told(Colour, "hue:\n") == [
        "file.yaml:1:1: 'hue': nothing stands behind this key; give it a value, indent what belongs to it, or remove it"
    ]


def test_mistakes_of_form_and_of_the_text_are_told_together() -> None:
    found = told(Colour, "hue: [14, 30]\nhue: [15, 30]\nvalue: [40, 256]\n")
    assert [line.split(":")[1] for line in found] == ["2", "3"]


def test_keys_are_named_as_they_are_written() -> None:
    exits = model_at(Behaviour, ("states", "look", "exits", 0))
    assert exits is not None
    assert {"when", "after", "until", "confirm", "go", "except"} == set(keys_of(exits))


@pytest.mark.parametrize(
    ("model", "where", "found"),
    [
        (Robot, (), "Robot"),
        (Robot, ("devices", "camera"), "CameraKeys"),
        (Robot, ("colours", "amber"), "Colour"),
        (Errand, ("field", "zone"), "Zone"),
        (Errand, ("kinds", "amber"), "Kind"),
        (BenchFile, ("objects", 0), "PlacedObject"),
        (Behaviour, ("states", "a", "states", "b"), "State"),
        (Robot, ("loop", "x"), None),
    ],
)
def test_the_model_of_a_place(model: type, where: tuple[str | int, ...], found: str | None) -> None:
    at = model_at(model, where)
    assert (at.__name__ if at else None) == found


def test_the_first_key_tells_the_kind_of_file() -> None:
    assert load.kind_of(source("bench: Bay\nrobot: 3\n")) == "bench"


def test_the_root_of_a_project_is_the_nearest_folder_that_is_marked(tmp_path: Path) -> None:
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    assert load.project_root(inner / "file.yaml") == inner.resolve()
    (tmp_path / "config").mkdir()
    (tmp_path / "behaviours").mkdir()
    assert load.project_root(inner / "file.yaml") == tmp_path.resolve()
    (tmp_path / "a" / "pyproject.toml").touch()
    assert load.project_root(inner / "file.yaml") == (tmp_path / "a").resolve()


def test_a_file_below_the_working_folder_is_called_by_its_way_from_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert load.show(tmp_path / "config" / "cart.yaml") == "config/cart.yaml"
    assert load.show(Path("/nowhere/cart.yaml")) == "/nowhere/cart.yaml"
