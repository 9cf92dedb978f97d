"""The file beside a driver of one's own that declares its keys: found without importing, read with the robot file."""

import sys
from pathlib import Path
from typing import Any

import pytest

from rover.devices.range.keys import RangeKeys
from rover.files import driver_keys, load
from rover.files.problems import FileProblems
from rover.files.yaml_source import read_text
from rover.session.assembly import texts_of

SONAR = """\
keys:
  Sonar:
    channel: {kind: whole number, about: Of the board that it hangs on.}
    gain: {kind: [low, high], default: low, about: How far it hears.}
    settle: {kind: time, default: 20 ms, about: So long an echo must last.}
    tilt: {kind: angle, default: none, about: Where it has one.}
    steps: {kind: anything, default: [1 cm, far], about: Handed on.}
    rate: {kind: frequency, default: 5 Hz, about: Reports in a second.}
    options: {kind: yes or no, default: no, about: A name that the model has for something else.}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a package of one's own in it; its modules must not be imported."""
    monkeypatch.setattr(driver_keys, "_folders", [])
    package = tmp_path / "drivers" / "my_lab"
    package.mkdir(parents=True)
    (package / "sonar.py").write_text("raise SystemExit('imported')\n")
    (package / "sonar.keys.yaml").write_text(SONAR)
    driver_keys.look_in([tmp_path / "drivers"])
    return tmp_path / "drivers"


def built(text: str) -> Any:
    return load.build(RangeKeys, read_text(text, Path("robot.yaml"), "robot.yaml"))


def refused(text: str) -> list[str]:
    with pytest.raises(FileProblems) as caught:
        built(text)
    return [str(problem) for problem in caught.value.problems]


DRIVER = 'driver: "my_lab.sonar:Sonar"\n'


def test_keys_that_are_left_out_have_the_defaults_declared_and_quantities_are_si(folder: Path) -> None:
    options = built(f"{DRIVER}channel: 3\nmost: 2 m\n").options
    declared = {"channel": 3, "gain": "low", "settle": 0.02, "tilt": None, "steps": [0.01, "far"], "options": False}
    assert options.items() >= declared.items()
    assert (options["rate"], options["most"], options["least"]) == (5.0, 2.0, 0.03)
    assert "my_lab" not in sys.modules


def test_what_is_given_is_read_by_its_kind(folder: Path) -> None:
    options = built(f"{DRIVER}channel: 3\ntilt: 90 deg\nsteps: 3 ft\noptions: yes\nlink: main\n").options
    assert (options["tilt"], options["steps"]) == (pytest.approx(1.5708, abs=1e-4), pytest.approx(0.9144))
    assert (options["options"], options["link"]) == (True, "main")


def test_without_the_folder_nothing_declares_them_and_they_are_passed_as_written(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(driver_keys, "_folders", [])
    options = built(f"{DRIVER}chanel: 3\nsettle: 20 ms\n").options
    assert (options["chanel"], options["settle"], options["rate"]) == (3, 0.02, 15.0)


def test_without_a_file_to_look_at_they_are_passed_as_written() -> None:
    """As where a model is made in Python."""
    options = RangeKeys.model_validate({"driver": "my_lab.sonar:Sonar", "chanel": 3}).options
    assert options["chanel"] == 3


def test_mistakes_of_both_files_are_told_together(folder: Path) -> None:
    (folder / "my_lab" / "sonar.keys.yaml").write_text(SONAR.replace("kind: time", "kind: tme"))
    (own, here) = refused(f"{DRIVER}most: 3\n")
    assert "sonar.keys.yaml:5:20: 'tme': a kind is due here" in own
    assert own.endswith("did you mean 'time'?")
    assert here.startswith("robot.yaml:2:7: '3': a bare number where a length is due")


def test_a_key_that_rover_reads_may_have_another_default_but_no_other_kind(folder: Path) -> None:
    (folder / "my_lab" / "sonar.keys.yaml").write_text(SONAR.replace("kind: frequency, default: 5 Hz", "kind: length"))
    assert refused(DRIVER) == [
        "robot.yaml:1:9: 'my_lab.sonar:Sonar': its file of keys has 'rate' as length; rover reads frequency"
    ]


def test_a_class_that_is_not_in_it_is_told(folder: Path) -> None:
    (only,) = refused(DRIVER.replace(":Sonar", ":Sonr"))
    assert only.endswith("has the keys of this module's drivers, and 'Sonr' is not in it; did you mean 'Sonar'?")


def test_the_record_has_what_was_read(folder: Path) -> None:
    source = read_text(DRIVER + "channel: 3\n", folder / "my_lab" / "sonar.py", "robot.yaml")
    load.build(RangeKeys, source)
    assert SONAR in texts_of([source]).values()


@pytest.mark.parametrize(
    ("driver", "file"),
    [
        ("my_lab.sonar:Sonar", "my_lab/sonar.keys.yaml"),
        ("my_lab.deep.horn:Horn", "my_lab/deep/horn.keys.yaml"),
        ("my_lab.deep:Siren", "my_lab/deep/__init__.keys.yaml"),
        ("alone:Sonar", "alone.keys.yaml"),
        ("whole:Sonar", "whole/__init__.keys.yaml"),
        ("my_lab.nothing:Sonar", None),
        ("nowhere.sonar:Sonar", None),
        ("..:Sonar", None),
        ("__main__:Sonar", None),
    ],
)
def test_it_stands_beside_the_module(driver: str, file: str | None, folder: Path) -> None:
    (folder / "my_lab" / "deep").mkdir()
    (folder / "whole").mkdir()
    for module in ("alone", "whole/__init__", "my_lab/deep/__init__", "my_lab/deep/horn"):
        (folder / f"{module}.py").write_text("raise SystemExit('imported')\n")
        (folder / f"{module}.keys.yaml").write_text("keys: {}\n")
    assert driver_keys.file_of(driver) == (None if file is None else folder / file)


def test_the_folder_named_last_comes_first_as_it_does_for_an_import(folder: Path, tmp_path: Path) -> None:
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "alone.py").write_text("")
        (tmp_path / name / "alone.keys.yaml").write_text("keys: {}\n")
    driver_keys.look_in([tmp_path / "first", tmp_path / "second"])
    assert driver_keys.file_of("alone:Sonar") == tmp_path / "second" / "alone.keys.yaml"
