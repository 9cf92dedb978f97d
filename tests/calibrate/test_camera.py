"""Camera calibration from a folder of marked pictures, and with a person who holds the lids."""

import math

import cv2
import numpy
import pytest

from rover.calibrate import camera
from rover.calibrate.findings import CalibrationError
from rover.errors import UserError
from rover.files.problems import FileProblems
from rover.files.robot import Robot
from rover.vision.lens import pixel, view_of

TINTS = {"amber": (50, 166, 230), "teal": (128, 128, 29)}
LID = "lid: {height: 60 mm, width: 50 mm}\n"


def robot(**keys):
    return Robot.model_validate(
        {
            "robot": "Looker",
            "body": {"wheel_diameter": "7 cm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
            "devices": {
                "drive": {"driver": "scripted"},
                "counts": {"driver": "scripted"},
                "camera": {"driver": "video", **keys},
            },
            "colours": {"amber": {"hue": [10, 40]}, "teal": {"hue": [80, 100]}},
        }
    )


def picture(tint, middle=(160, 120), half=(30, 20), light=1.0):
    frame = numpy.random.default_rng(1).normal(150, 4, (240, 320, 3)) * light
    cv2.ellipse(frame, middle, half, 0, 0, 360, tuple(light * part for part in tint), -1)
    return numpy.clip(frame, 0, 255).astype(numpy.uint8)


def write(folder, regions, head="", light=1.0):
    lines = [f"  - {region}" for region in regions]
    (folder / camera.REGIONS).write_text(head + "regions:\n" + "\n".join(lines) + "\n")
    for name, tint in TINTS.items():
        cv2.imwrite(str(folder / f"{name}.png"), picture(tint, light=light))


BOXES = [f"{{file: {name}.png, kind: {name}, box: [145, 112, 30, 16]}}" for name in TINTS]


def changes(found):
    return {".".join(change.key): change.after for change in found.changes}


def test_ranges_are_proposed_and_masks_are_shown_beside_the_pictures(tmp_path):
    write(tmp_path, BOXES)
    found = camera.findings(tmp_path, robot(), tmp_path / "masks")
    proposed = changes(found)
    assert proposed["colours.amber.hue"] == "[15, 23]"
    assert proposed["colours.teal.hue"] == "[86, 94]"
    masks = sorted((tmp_path / "masks").iterdir())
    assert [path.name for path in masks] == ["01-amber-amber.png", "02-teal-teal.png"]
    shown = cv2.imread(str(masks[0]))
    assert shown.shape == (240, 640, 3)
    assert shown[120, 320 + 160].tolist() == [255, 255, 255]
    assert shown[20, 320 + 20].tolist() == [0, 0, 0]


def test_poor_light_and_overlaps_are_told(tmp_path):
    write(tmp_path, [*BOXES, "{file: amber.png, kind: teal, box: [145, 112, 30, 16]}"], light=0.2)
    told = "\n".join(camera.findings(tmp_path, robot(), tmp_path / "masks").lines)
    assert "amber: the light is poor" in told
    assert "amber and teal overlap" in told


def test_lids_at_known_places_give_field_of_view_and_tilt(tmp_path):
    view, regions = view_of(robot(field_of_view="66 deg", tilt="18 deg").devices.camera, 320, 240), []
    for ahead, left in ((0.6, 0.1), (1.0, -0.3), (1.5, 0.5)):
        farther = 1.0 + 0.025 / math.hypot(ahead, left)
        u, top = pixel(view, ahead * farther, left * farther, 0.06)
        box = [round(u - 8), round(top), 16, 8]
        regions.append(f"{{file: amber.png, kind: amber, box: {box}, ahead: {ahead} m, left: {left} m}}")
    write(tmp_path, [*BOXES, *regions], LID)
    found = camera.findings(tmp_path, robot(), tmp_path / "masks")
    after = changes(found)
    assert float(after["devices.camera.field_of_view"].removesuffix(" deg")) == pytest.approx(66.0, abs=2.0)
    assert float(after["devices.camera.tilt"].removesuffix(" deg")) == pytest.approx(18.0, abs=0.5)
    assert sum("pixels across" in line for line in found.lines) == 3
    assert after["colours.amber.saturation"] == "[140, 255]"  # boxes of placed lids say nothing of colour


@pytest.mark.parametrize(
    ("regions", "told"),
    [
        (["{file: amber.png, kind: ambr, box: [1, 1, 9, 9]}"], "no colour 'ambr'; did you mean 'amber'"),
        (["{file: gone.png, kind: amber, box: [1, 1, 9, 9]}"], "gone.png is no picture"),
        (["{file: amber.png, kind: amber, box: [1, 1, 9, 9]}"], "no colour; is the box on the lid"),
        (["{file: amber.png, kind: amber, box: [150, 115, 3, 3]}"], "too few"),
        (["{file: amber.png, kind: amber, box: [150, 115, 9, 9], ahead: 1 m}"], "need their measures"),
    ],
)
def test_mistakes_are_told(tmp_path, regions, told):
    write(tmp_path, regions)
    with pytest.raises(CalibrationError, match=told):
        camera.findings(tmp_path, robot(), tmp_path / "masks")


def test_mistakes_in_the_file_have_their_line(tmp_path):
    write(tmp_path, ["{file: amber.png, kind: amber, box: [1, 1, 9], ahead: 1}"])
    with pytest.raises(FileProblems) as raised:
        camera.findings(tmp_path, robot(), tmp_path / "masks")
    assert {problem.line for problem in raised.value.problems} == {2}


def test_live_pictures_are_taken_with_a_persons_help(tmp_path):
    asked = []
    frames = iter([None, picture(TINTS["amber"], half=(60, 50)), picture(TINTS["teal"], half=(60, 50))])
    folder = camera.take_pictures(robot(), lambda: next(frames), asked.append, tmp_path / "taken")
    assert ["amber" in asked[0], "teal" in asked[1]] == [True, True]
    assert changes(camera.findings(folder, robot(), tmp_path / "masks"))["colours.teal.hue"] == "[86, 94]"


def test_where_no_frame_comes_nobody_is_asked_to_hold_a_lid(tmp_path):
    def grab():
        raise UserError("no camera there")

    with pytest.raises(UserError, match="no camera there"):
        camera.take_pictures(robot(), grab, pytest.fail, tmp_path / "taken")
    assert not (tmp_path / "taken").exists()
