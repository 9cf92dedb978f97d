import json
import subprocess
import sys
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"
RECTANGLE = CONFIG / "rectangle.yaml"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
KEYS = [
    *("seen", "believed", "left", "unseen", "not_in", "gave_up", "noted"),
    "result",
    "reason",
    "delivered",
    "objects",
    "truth",
    "finds",
    "worst_axis_error_m",
    "robot_time_s",
    "wall_time_s",
    "steps",
    "record",
]


@pytest.fixture(scope="module")
def greenhouse(tmp_path_factory):
    """The demo's errand in a process of its own, once with --json and once without."""
    folder = tmp_path_factory.mktemp("greenhouse")
    command = [*COMMAND, "rehearse", str(CONFIG / "greenhouse.yaml"), "--seed", "3"]
    return folder, *(
        subprocess.run([*command, *more], cwd=folder, capture_output=True, text=True, check=True).stdout
        for more in (["--json"], [])
    )


def test_json_is_one_object_and_nothing_else(greenhouse):
    folder, out, _ = greenhouse
    result = json.loads(out)
    assert list(result) == KEYS
    assert result["objects"] == result["delivered"] == result["seen"] == result["truth"]["delivered"] == 9
    assert (result["believed"], result["left"]) == (0, 0)
    assert (result["truth"]["bumps"], result["truth"]["outside_s"], result["truth"]["empty_finds"]) == (0, 0.0, 0)
    assert 60.0 < result["truth"]["driven_m"] < 120.0
    assert (folder / result["record"]).is_file()


def test_each_find_has_its_errors_and_its_ellipse(greenhouse):
    result = json.loads(greenhouse[1])
    assert len(result["finds"]) >= 8
    for find in result["finds"]:
        assert list(find) == [*("kind", "x_m", "y_m", "ellipse", "axis_error_m", "distance_error_m", "held_nothing")]
        assert list(find["ellipse"]) == ["major_m", "minor_m", "angle_rad"]
        assert find["ellipse"]["major_m"] >= find["ellipse"]["minor_m"] > 0.0
        assert find["axis_error_m"] <= find["distance_error_m"]
    assert result["worst_axis_error_m"] == max(find["axis_error_m"] for find in result["finds"])


def test_without_json_a_person_can_read_it(greenhouse):
    lines = greenhouse[2].splitlines()
    assert lines[0].startswith("done (all_in): 9 of 9 delivered in ")
    assert len([line for line in lines if line.split()[1] in ("amber", "teal", "violet")]) >= 8
    assert lines[-1].startswith("record: runs/greenhouse-seed3-")


def test_an_errand_that_fails_is_code_1(rover):
    code, out, _ = rover("rehearse", CONFIG / "greenhouse.yaml", "--set", "longest=2 s", "--json")
    assert code == 1
    assert json.loads(out)["result"] == "failed"


def test_two_runs_have_two_records(rover):
    records = [json.loads(rover("rehearse", RECTANGLE, "--json")[1])["record"] for _ in range(3)]
    assert len(set(records)) == 3


def test_a_setting_is_overridden(rover):
    usual, short = (
        json.loads(rover("rehearse", RECTANGLE, "--json", *more)[1])["robot_time_s"]
        for more in ((), ("--set", "long_side=50 cm"))
    )
    assert short < 0.8 * usual


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("long_sid=1 m", "did you mean 'long_side'"),
        ("long_side=1 V", "this setting is a length"),
        ("long_side=1", "this setting is a length"),
        ("long_side", "write a setting and its value"),
        ("=1 m", "write a setting and its value"),
        ("long_side=", "write a setting and its value"),
    ],
)
def test_a_setting_that_cannot_be(rover, given, message):
    code, out, err = rover("rehearse", RECTANGLE, "--set", given)
    assert (code, out) == (2, "")
    assert message in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("nowhere.yaml",), "nowhere.yaml"),
        ((RECTANGLE, "--drivers", "no_such_folder"), "no_such_folder"),
        ((RECTANGLE, "--seed", "-1"), "--seed"),
        ((RECTANGLE, "--sed", "1"), "--seed"),
        ((CONFIG / "cart.yaml",), "errand file is due here"),
        ((CONFIG,), "config"),
    ],
)
def test_unusable_input_is_code_2_and_one_clear_message(rover, arguments, message):
    code, out, err = rover("rehearse", *arguments)
    assert (code, out) == (2, "")
    assert message in err
    assert "Traceback" not in err


def test_a_working_folder_that_cannot_hold_the_record(rover, tmp_path):
    """A file stands where the folder should be: that stops also one who may write everywhere."""
    (tmp_path / "runs").write_text("", encoding="utf-8")
    code, out, err = rover("rehearse", RECTANGLE)
    assert (code, out) == (2, "")
    assert "runs" in err
