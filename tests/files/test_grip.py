"""What of a robot can tell of a grip, from its measures: held against the real lens and against a drawn picture."""

import math
from pathlib import Path

import pytest

from rover.devices.camera.keys import CameraKeys
from rover.files import yaml_source
from rover.files.errand import Kind
from rover.files.grip import lid_in_picture, none_tells, tellers, why_lid_unseen
from rover.files.robot import Robot
from rover.vision.lens import pixel, view_of

ROOT = Path(__file__).parents[2]
CART = yaml_source.read(ROOT / "config/cart.yaml", "cart.yaml").values


def jar(height="60 mm", width="50 mm"):
    return Kind.model_validate({"lid": "amber", "height": height, "width": width})


def robot(**devices):
    fitted = {name: keys | devices.get(name, {}) for name, keys in CART["devices"].items()}
    return Robot.model_validate(CART | {"devices": fitted})


def why_not(made, device, kind=None):
    return next(one.why_not for one in tellers(made, kind or jar()) if one.device == device)


@pytest.mark.parametrize(
    ("camera", "kind", "why"),
    [
        ({}, jar(), ""),
        ({"ahead": "10 cm"}, jar(), "69 deg below level, and the picture ends at 38 deg"),
        ({"tilt": "-5 deg"}, jar(), "34 deg below level, and the picture ends at 18 deg"),
        ({"tilt": "60 deg"}, jar(), "a lid 6.0 cm high between the jaws sticks out of the picture above"),
        ({}, jar(height="35 cm"), "a lid 35.0 cm high between the jaws sticks out of the picture above"),
        ({"ahead": "15 cm", "tilt": "80 deg"}, jar(), "too near to be in the picture"),
        ({"field_of_view": "8 deg", "tilt": "33 deg"}, jar(), "wider than the picture"),
    ],
)
def test_whether_the_camera_sees_a_lid_between_the_jaws(camera, kind, why):
    assert (why in why_not(robot(camera=camera), "camera", kind)) if why else why_not(robot(), "camera", kind) == ""


@pytest.mark.parametrize("tilt", range(-10, 80, 3))
@pytest.mark.parametrize("height", [3, 6, 12, 21, 30])
@pytest.mark.parametrize("ahead", [0.1, 0.17, 0.24, 0.4])
def test_what_it_calls_seen_is_in_the_picture_by_the_projection_that_the_vision_uses(tilt, height, ahead):
    camera = robot(camera={"tilt": f"{tilt} deg"}).devices.camera
    view = view_of(camera, camera.frame_width, camera.frame_height)
    middle, top = (pixel(view, at, 0.0, height / 100.0) for at in (ahead, ahead + math.copysign(0.025, 22 - height)))
    is_in = all(spot is not None and 0.0 <= spot[1] < camera.frame_height for spot in (middle, top))
    seen = not why_lid_unseen(camera, ahead, height / 100.0, 0.05)
    assert is_in or not seen
    # What it calls unseen is out of the picture, but for the edge that a pitching body takes away.
    if is_in and not seen:
        assert min(middle[1], top[1], *(camera.frame_height - spot[1] for spot in (middle, top))) < 25.0


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({}, ""),
        ({"least": "8 cm"}, "what they hold is 3.5 cm before it, and it tells 8.0 cm at least"),
        ({"ahead": "17 cm"}, "it does not look along the jaws"),
    ],
)
def test_whether_the_range_finder_hears_what_they_hold(keys, why):
    assert why_not(robot(range=keys), "range") == why


def test_a_range_finder_that_looks_elsewhere_hears_nothing_of_it():
    devices = CART["devices"] | {"rear": {"family": "range", "driver": "simulated", "at": {"towards": "180 deg"}}}
    assert why_not(Robot.model_validate(CART | {"devices": devices}), "rear") == "it does not look along the jaws"


@pytest.mark.parametrize("feedback", ["switch", "position", "current"])
def test_feedback_tells(feedback):
    assert why_not(robot(gripper={"feedback": feedback}), "gripper") == ""


def test_where_nothing_tells_all_reasons_are_said_and_what_to_add():
    blind = robot(camera={"ahead": "10 cm"}, range={"least": "8 cm"})
    why = none_tells(blind, {"amber": jar()})
    assert why.startswith("nothing of this robot tells whether the jaws hold 'amber' (camera: ")
    assert "gripper: 'feedback: none'" in why
    assert why.endswith("a range finder that looks along the jaws")
    assert none_tells(robot(), {"amber": jar(), "tall": jar(height="35 cm")}) == ""  # the echo tells of the tall one
    assert "hold 'tall'" in none_tells(robot(range={"least": "8 cm"}), {"amber": jar(), "tall": jar(height="35 cm")})


def test_without_a_gripper_there_is_nothing_to_be_told():
    devices = {name: keys for name, keys in CART["devices"].items() if name != "gripper"}
    assert none_tells(Robot.model_validate(CART | {"devices": devices}), {"amber": jar()}) == ""


@pytest.mark.parametrize(
    ("height", "tilt", "nearest", "farthest"),
    [
        ("22 cm", "15 deg", 0.16 / math.tan(math.radians(15.0 + 23.41)), math.inf),
        ("22 cm", "60 deg", 0.16 / math.tan(math.radians(60.0 + 23.41)), 0.16 / math.tan(math.radians(60.0 - 23.41))),
        ("22 cm", "80 deg", 0.0, 0.16 / math.tan(math.radians(80.0 - 23.41))),
        ("3 cm", "15 deg", 0.03 / math.tan(math.radians(23.41 - 15.0)), math.inf),
        ("3 cm", "40 deg", math.inf, 0.0),
        ("22 cm", "-40 deg", math.inf, 0.0),
    ],
)
def test_a_lid_is_in_the_picture_between_two_distances(height, tilt, nearest, farthest):
    """By hand: half a picture of 60 deg and 4 to 3 is atan(tan(30 deg) * 3 / 4) = 23.41 deg high; lid at 6 cm."""
    camera = CameraKeys.model_validate({"driver": "simulated", "height": height, "tilt": tilt})
    assert lid_in_picture(camera, 0.06) == pytest.approx((nearest, farthest), rel=1e-3)
