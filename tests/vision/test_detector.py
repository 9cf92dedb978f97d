"""Frames with lids and the marker, good and bad: what is seen, how well, and what is told of the bad ones."""

import math
import random

import cv2
import numpy
import pytest

from rover.devices.camera.keys import VideoKeys
from rover.devices.readings import MARKER, Detections
from rover.errors import UserError
from rover.files.errand import Kind
from rover.files.robot import Robot
from rover.vision.detector import Detector, FrameWatch, detector_of

SIZES = [(160, 120), (320, 240), (640, 480)]


@pytest.fixture
def detect(scene):
    """A detector for 320 by 240 pixels, with the marker."""
    return Detector(scene.camera(), scene.COLOURS, scene.KINDS, scene.MARKER).detections


def runs(scene, size, distance, count=60):
    """Return (bearing error in deg, distance error as a share, in sigma) of lids drawn with 0.5 deg of pitch."""
    device = scene.camera(frame_width=size[0], frame_height=size[1], sees_to="4 m")
    detector = Detector(device, scene.COLOURS, scene.KINDS)
    draws = random.Random(round(1000 * distance) + size[0])
    found = []
    for seed in range(count):
        bearing, pitch = draws.uniform(-0.42, 0.42), math.radians(draws.gauss(0.0, 0.5))
        jar = scene.Jar("amber", distance * math.cos(bearing), distance * math.sin(bearing))
        (one,) = detector.detections(scene.draw(device, [jar], pitch, seed)).objects
        error = one.distance - distance
        found.append((abs(math.degrees(one.bearing - bearing)), abs(error) / distance, abs(error) / one.distance_sigma))
    return found


@pytest.mark.parametrize("size", SIZES[1:])
@pytest.mark.parametrize(("distance", "limit"), [(0.3, 0.08), (0.6, 0.08), (1.0, 0.08), (1.8, 0.25), (2.5, 0.25)])
def test_lids_are_placed_as_well_as_is_stated(scene, size, distance, limit):
    """0.5 deg in bearing, 8 % to 1 m and 25 % at 2.5 m in distance, 95 % of the errors within 1.96 sigma."""
    found = runs(scene, size, distance)
    assert max(bearing for bearing, _, _ in found) <= 0.5
    assert max(share for _, share, _ in found) <= limit
    assert sum(sigmas <= 1.96 for _, _, sigmas in found) >= 0.95 * len(found)


@pytest.mark.parametrize("distance", [0.3, 0.6, 1.0, 1.5])
def test_small_frames_are_enough_for_near_lids(scene, distance):
    found = runs(scene, SIZES[0], distance)
    assert max(bearing for bearing, _, _ in found) <= 0.5
    assert sum(sigmas <= 1.96 for _, _, sigmas in found) >= 0.95 * len(found)


def test_each_kind_is_told_by_its_lid_nearest_first(scene, detect):
    jars = [scene.Jar("violet", 1.6, 0.4), scene.Jar("amber", 0.6, 0.1), scene.Jar("teal", 1.1, -0.3)]
    objects = detect(scene.draw(scene.camera(), jars)).objects
    assert [one.kind for one in objects] == ["amber", "teal", "violet"]
    assert [one.bearing > 0 for one in objects] == [True, False, True]


@pytest.mark.parametrize(("sees_to", "kinds"), [("1 m", []), ("2 m", ["amber"])])
def test_what_is_surely_farther_than_the_camera_sees_to_is_left_out(scene, sees_to, kinds):
    device = scene.camera(sees_to=sees_to)
    frame = scene.draw(device, [scene.Jar("amber", 1.6, 0.0)])
    found = Detector(device, scene.COLOURS, scene.KINDS).detections(frame).objects
    assert [one.kind for one in found] == kinds


def test_swapped_red_and_blue_show_no_amber(scene, detect):
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 0.6, 0.0)])
    assert detect(numpy.ascontiguousarray(frame[:, :, ::-1])).objects == ()


def test_two_kinds_with_lids_of_one_colour_are_told_apart_by_their_size(scene):
    kinds = {
        "small": Kind.model_validate({"lid": "amber", "height": "60 mm", "width": "50 mm"}),
        "large": Kind.model_validate({"lid": "amber", "height": "60 mm", "width": "120 mm"}),
    }
    detector = Detector(scene.camera(), scene.COLOURS, kinds)
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 0.5, 0.0)])
    assert [one.kind for one in detector.detections(frame).objects] == ["small"]


def test_apparent_size_is_a_share_of_the_frames_width(scene, detect):
    (one,) = detect(scene.draw(scene.camera(), [scene.Jar("teal", 0.8, 0.0)])).objects
    assert one.size == pytest.approx(0.05 / 0.8 / (2.0 * math.tan(math.radians(30.0))), rel=0.08)


def test_a_lens_with_distortion_is_allowed_for(scene):
    device = scene.camera(distortion=[-0.25, 0.06, 0.001, 0.001])
    frame = scene.draw(device, [scene.Jar("amber", 0.8, 0.35)])
    straight = scene.camera()
    one, naive = (
        Detector(each, scene.COLOURS, scene.KINDS).detections(frame).objects[0] for each in (device, straight)
    )
    assert one.bearing == pytest.approx(math.atan2(0.35, 0.8), abs=math.radians(0.2))
    assert abs(naive.bearing - math.atan2(0.35, 0.8)) > math.radians(0.7)


@pytest.mark.parametrize("distance", [0.6, 1.0, 1.5, 2.5])
@pytest.mark.parametrize("turned", [0.0, 0.5, -0.8])
def test_the_marker_is_one_detection_and_no_lid(scene, detect, distance, turned):
    frame = scene.draw_marker(scene.camera(), distance * math.cos(0.15), distance * math.sin(0.15), turned)
    (one,) = detect(frame).objects
    assert one.kind == MARKER
    assert one.bearing == pytest.approx(0.15, abs=math.radians(0.5))
    assert one.distance == pytest.approx(distance, rel=0.05)


def test_the_halves_of_a_far_marker_are_no_lids_either(scene):
    """The nose is up by 1.2 deg, and the halves might, by their size and row, be lids at the horizon."""
    size = {"frame_width": 640, "frame_height": 480, "sees_to": "6 m"}
    frame = scene.draw_marker(scene.camera(**size), 4.5, 0.0)
    believed = scene.camera(**size, tilt="16.2 deg")
    with_marker, without = (Detector(believed, scene.COLOURS, scene.KINDS, one) for one in (scene.MARKER, None))
    assert [one.kind for one in with_marker.detections(frame).objects] == [MARKER]
    assert without.detections(frame).objects != ()


def test_the_marker_with_its_halves_the_wrong_way_round_is_not_taken(scene, detect):
    frame = cv2.flip(scene.draw_marker(scene.camera(), 1.0, 0.0), 1)
    assert MARKER not in [one.kind for one in detect(frame).objects]


def test_two_jars_side_by_side_are_not_the_marker(scene, detect):
    jars = [scene.Jar("teal", 1.0, 0.026), scene.Jar("violet", 1.0, -0.026)]
    assert sorted(one.kind for one in detect(scene.draw(scene.camera(), jars)).objects) == ["teal", "violet"]


def test_a_jar_before_the_marker_is_still_seen(scene, detect):
    frame = scene.draw_marker(scene.camera(), 1.5, 0.0)
    jar = scene.draw(scene.camera(), [scene.Jar("teal", 0.7, 0.0)])
    lid = cv2.inRange(cv2.cvtColor(jar, cv2.COLOR_BGR2HSV), (80, 60, 30), (100, 255, 255)) > 0
    frame[lid] = jar[lid]
    assert [one.kind for one in detect(frame).objects] == ["teal", MARKER]


def cut(frame):
    return frame[:, :-40]


def half_arrived(frame):
    frame = frame.copy()
    frame[150:] = 128
    return frame


def tinted(red):
    """Return what makes red brighter and blue darker by a share, as a wrong white balance does."""
    return lambda frame: numpy.clip(frame * (1.0 - red, 1.0, 1.0 + red), 0, 255).astype(numpy.uint8)


def plain(level):
    return lambda frame: numpy.full_like(frame, level)


BAD_FRAMES = {
    "black": (plain(0), "too dark"),
    "lens covered": (lambda frame: frame // 20, "too dark"),
    "white": (plain(255), "too bright"),
    "too red": (tinted(0.25), "all is tinted"),
    "too blue": (tinted(-0.25), "all is tinted"),
    "lower half missing": (half_arrived, "lower part"),
    "wrong size": (cut, "280x240"),
    "tiny": (lambda frame: frame[:8, :8], "8x8"),
    "empty": (lambda frame: frame[:0], "320x0"),
    "grey only": (lambda frame: frame[:, :, 0], "no picture"),
    "no picture": (lambda frame: None, "no picture"),
    "numbers": (lambda frame: frame.astype(float), "no picture"),
}


@pytest.mark.parametrize(("spoil", "told"), BAD_FRAMES.values(), ids=BAD_FRAMES)
def test_a_bad_frame_is_told(scene, spoil, told):
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 0.6, 0.0)])
    assert told in FrameWatch(scene.camera()).trouble(spoil(frame))


@pytest.mark.parametrize("name", ["black", "lens covered", "white", "lower half missing", "wrong size", "tiny"])
def test_a_bad_frame_raises_nothing_when_it_is_looked_at_all_the_same(scene, detect, name):
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 0.6, 0.0)])
    assert isinstance(detect(BAD_FRAMES[name][0](frame)), Detections)


def test_an_upside_down_frame_shows_nothing_on_the_floor(scene, detect):
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 2.2, 0.1), scene.Jar("teal", 0.3, 0.0)])
    assert detect(cv2.rotate(frame, cv2.ROTATE_180)).objects == ()


def test_good_frames_are_no_trouble(scene):
    watch = FrameWatch(scene.camera())
    assert [watch.trouble(scene.blank(scene.camera(), seed)) for seed in range(8)] == [""] * 8


@pytest.mark.parametrize("red", [-0.1, 0.1])
def test_a_light_a_little_off_is_no_trouble(scene, red):
    assert FrameWatch(scene.camera()).trouble(tinted(red)(scene.blank(scene.camera()))) == ""


def test_a_coloured_floor_is_no_trouble_while_something_grey_is_in_sight(scene):
    frame = scene.blank(scene.camera())
    frame[60:] = (60, 110, 160)
    assert FrameWatch(scene.camera()).trouble(frame) == ""
    frame[:] = (60, 110, 160)
    assert "anything grey" in FrameWatch(scene.camera()).trouble(frame)


def test_a_camera_of_another_size_but_the_same_shape_is_good(scene):
    assert FrameWatch(scene.camera()).trouble(scene.blank(scene.camera(frame_width=640, frame_height=480))) == ""


def test_a_frozen_frame_is_told_and_forgotten_with_the_next(scene):
    """Also when the camera hands over its one buffer again and again."""
    watch = FrameWatch(scene.camera())
    buffer = scene.blank(scene.camera(), 1)
    told = [watch.trouble(buffer) for _ in range(6)]
    assert told[:4] == [""] * 4
    assert "same frame 5 times" in told[4]
    buffer[:] = scene.blank(scene.camera(), 2)
    assert watch.trouble(buffer) == ""


def test_any_litter_of_the_lids_colours_is_borne(scene):
    """Specks that touch, hide and cut each other, in a small frame: no patch comes out without a width."""
    device = scene.camera(frame_width=160, frame_height=120)
    detector, draws = Detector(device, scene.COLOURS, scene.KINDS, scene.MARKER), numpy.random.default_rng(5)
    for _ in range(30):
        frame = scene.blank(device)
        for x, y in draws.integers((0, 0), (160, 120), (200, 2)).tolist():
            cv2.circle(frame, (x, y), 1, list(scene.TINTS.values())[int(draws.integers(3))], -1)
        for one in detector.detections(frame).objects:
            assert all(math.isfinite(value) for value in one[1:])
            assert one.distance_sigma > 0.0


def test_a_robot_without_a_camera_has_no_detector():
    robot = Robot.model_validate(
        {
            "robot": "Blind",
            "body": {"wheel_diameter": "7 cm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
            "devices": {"drive": {"driver": "scripted"}, "counts": {"driver": "scripted"}},
        }
    )
    with pytest.raises(UserError, match="add 'camera:'"):
        detector_of(robot, {})


def test_colours_that_no_kind_uses_are_not_looked_for(scene):
    detector = Detector(VideoKeys(), scene.COLOURS, {"amber": scene.KINDS["amber"]})
    frame = scene.draw(scene.camera(), [scene.Jar("amber", 0.6, 0.1), scene.Jar("teal", 0.6, -0.1)])
    assert [one.kind for one in detector.detections(frame).objects] == ["amber"]
