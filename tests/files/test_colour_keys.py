"""The robot file's keys about colours, the marker and the lens."""

import pytest

from rover.files import load, yaml_source
from rover.files.problems import FileProblems
from rover.files.robot import Robot

TEXT = """\
robot: Looker
body: {wheel_diameter: 7 cm, track: 24 cm, counts_per_rev: 1320, gripper_reach: 16 cm}
devices:
  drive: {driver: scripted}
  counts: {driver: scripted}
  camera: {driver: video, distortion: [-0.28, 0.09, 0.001]}
colours:
  teal: {hue: [82, 98], saturation: [80, 255], area: [0.01 %, 20 %], aspect: [0.5, 8], fill: [50 %, 100 %]}
  violet: {hue: [122, 148]}
marker: {left: teal, right: violet, width: 12 cm}
"""


def robot(text):
    return load.build(Robot, yaml_source.read_text(text, None, "robot.yaml"))


def test_the_keys_are_read():
    read = robot(TEXT)
    assert read.devices.camera.distortion == (-0.28, 0.09, 0.001)
    assert read.colours["teal"].area == pytest.approx((0.0001, 0.2))
    assert read.colours["teal"].aspect == (0.5, 8.0)
    assert (read.marker.left, read.marker.width, read.marker.height) == ("teal", 0.12, 0.1)


@pytest.mark.parametrize(
    ("good", "bad", "line", "told"),
    [
        ("saturation: [80, 255]", "saturation: [255, 80]", 8, "the low end comes first: [80, 255]"),
        ("area: [0.01 %, 20 %]", "area: [0.01 %, 120 %]", 8, "between 0 % and 100 %"),
        ("aspect: [0.5, 8]", "aspect: [0, 8]", 8, "more than zero"),
        ("left: teal", "left: tael", 10, "no colour 'tael' in 'colours:'; did you mean 'teal'"),
        ("right: violet", "right: teal", 10, "of two colours"),
        ("[-0.28, 0.09, 0.001]", "[1, 2, 3, 4, 5, 6]", 6, "5"),
    ],
)
def test_mistakes_have_their_line(good, bad, line, told):
    with pytest.raises(FileProblems) as raised:
        robot(TEXT.replace(good, bad))
    (problem,) = raised.value.problems
    assert problem.line == line
    assert told in problem.why
