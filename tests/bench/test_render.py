"""Rendered frames, held against OpenCV's own projection of the same scene."""

import math

import cv2
import numpy as np
import pytest

from rover.bench import render_things
from rover.bench.render import Lidded, Renderer, Scene
from rover.bench.render_lens import Projection, Viewpoint, lens
from rover.bench.render_paint import Easel, from_hsv
from rover.files.robot import Colour, Marker

TILT = math.radians(15.0)
COLOURS = {"amber": Colour(hue=(14, 30)), "teal": Colour(hue=(82, 98)), "violet": Colour(hue=(128, 150))}
PLAIN = {"light": 1, "light_change": 0, "cast": 0, "cast_drift": 0, "noise": 0, "shadow": 0, "leaves": 0, "pots": 0}
EYE = Viewpoint(3.0, 2.0, 0.22, 0.3, TILT)


@pytest.fixture
def make(bay):
    """Make a renderer on a bench where only what is asked for differs from a plain, even light."""

    def make(seed=1, camera=None, field=None, marker=None, **rendering):
        plate = None if marker is None else Marker.model_validate(marker)
        robot = bay.robot(camera=camera or {}).model_copy(update={"colours": COLOURS, "marker": plate})
        return Renderer(bay.bench_file(rendering=PLAIN | rendering), robot, bay.errand(**(field or {})), seed)

    return make


def seen_from(view, ahead, left, kind="amber", held=False):
    """A jar at (ahead, left) of the camera's foot (m)."""
    c, s = math.cos(view.heading), math.sin(view.heading)
    return Lidded(kind, view.x + ahead * c - left * s, view.y + ahead * s + left * c, 0.025, 0.06, held)


def scene(*jars, view=EYE, number=0, pitch=0.0, turn_rate=0.0, opening=None, seconds=0.0, exposed=1.0):
    return Scene(number, seconds, view, pitch, turn_rate, jars, opening, exposed)


def lid_mask(frame, kind="amber"):
    """Return which pixels are of a lid's hue."""
    low, high = COLOURS[kind].hue
    return cv2.inRange(cv2.cvtColor(frame, cv2.COLOR_BGR2HSV), (low, 120, 60), (high, 255, 255)) > 0


def lid_pixels(frame, kind="amber"):
    """Return the box (left, top, right, bottom) of those pixels, as coordinates of their middles, and their number."""
    mask = lid_mask(frame, kind)
    left, top, width, height = cv2.boundingRect(mask.astype(np.uint8))
    return np.array([left, top, left + width - 1, top + height - 1]), int(mask.sum())


def projected(view, points):
    """Return the pixels that `cv2.projectPoints` gives for points of the field, in frames of 320 by 240 and 60 deg."""
    focal = 160.0 / math.tan(math.radians(30.0))
    matrix = np.array([[focal, 0.0, 159.5], [0.0, focal, 119.5], [0.0, 0.0, 1.0]])
    level = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0]])
    about_up = cv2.Rodrigues(np.array([0.0, 0.0, -view.heading]))[0]
    about_right = cv2.Rodrigues(np.array([view.tilt, 0.0, 0.0]))[0]
    turn = about_right @ level @ about_up
    shift = -turn @ np.array([view.x, view.y, view.height])
    return cv2.projectPoints(np.asarray(points), cv2.Rodrigues(turn)[0], shift, matrix, None)[0][:, 0]


def lid_points(jar):
    """Return points all round the upper and the lower rim of a jar's lid."""
    turns = np.linspace(0.0, 2.0 * math.pi, 90)
    rims = [np.full(90, jar.height), np.full(90, jar.height - render_things.LID_DEPTH)]
    x, y = jar.x + jar.radius * np.cos(turns), jar.y + jar.radius * np.sin(turns)
    return np.vstack([np.column_stack([x, y, z]) for z in rims])


PLACES = [(0.24, 0.0), (0.4, 0.1), (0.6, -0.25), (1.0, 0.4), (1.6, -0.7), (2.5, 0.2)]


@pytest.mark.parametrize(("ahead", "left"), PLACES)
@pytest.mark.parametrize("kind", COLOURS)
def test_a_lid_is_drawn_where_opencv_projects_it(make, ahead, left, kind):
    jar = seen_from(EYE, ahead, left, kind)
    outline = cv2.convexHull(projected(EYE, lid_points(jar)).astype(np.float32))
    mask = lid_mask(make().frame(scene(jar)), kind)
    inwards = np.array([[cv2.pointPolygonTest(outline, (u, v), True) for u in range(320)] for v in range(240)])
    assert inwards[mask].min() > -1.0
    assert mask[inwards > 1.0].all()


def test_the_projection_is_that_of_opencv():
    draws = np.random.default_rng(1)
    for _ in range(50):
        view = Viewpoint(*draws.uniform(-2, 2, 2), draws.uniform(0.1, 0.5), draws.uniform(-3, 3), draws.uniform(0, 0.6))
        points = draws.uniform(-3, 3, (20, 3)) * (1, 1, 0.1)
        mine = Projection(lens(320, 240, math.radians(60.0)), view)
        before = mine.homogeneous(points)[:, 2] > 0.1
        if before.any():
            assert mine.pixels(points[before]) == pytest.approx(projected(view, points[before]), abs=1e-3)


def test_a_nose_up_body_sees_things_lower_in_the_frame(make):
    jar, renderer = seen_from(EYE, 1.0, 0.0), make()
    level, up = (lid_pixels(renderer.frame(scene(jar, pitch=pitch)))[0][1] for pitch in (0.0, math.radians(2.0)))
    assert up - level == pytest.approx(math.radians(2.0) * renderer.lens.focal, abs=1.5)


def test_a_polygon_covers_as_much_as_it_should():
    for side in (0.9, 2.0, 5.3, 20.0):
        image = np.zeros((40, 40, 3), np.uint8)
        corners = np.array([[10.2, 8.7], [10.2 + side, 8.7], [10.2 + side, 8.7 + side], [10.2, 8.7 + side]])
        easel = Easel(image, corners)
        easel.fill(corners, (255.0, 255.0, 255.0))
        easel.put_back()
        assert math.sqrt(image[..., 0].sum() / 255.0) == pytest.approx(side, abs=0.26)


def test_a_near_jar_hides_a_far_one_whatever_their_order(make):
    near, far, renderer = seen_from(EYE, 0.5, 0.0, "amber"), seen_from(EYE, 0.56, 0.0, "teal"), make()
    alone = lid_pixels(renderer.frame(scene(far)), "teal")[1]
    for jars in ((near, far), (far, near)):
        frame = renderer.frame(scene(*jars))
        assert lid_pixels(frame, "teal")[1] < 0.75 * alone
        whole = lid_pixels(renderer.frame(scene(near)), "amber")[1]
        assert lid_pixels(frame, "amber")[1] == pytest.approx(whole, rel=0.05)


def test_a_wall_hides_what_is_behind_it_and_not_what_is_before_it(make):
    wall = {"walls": {"screen": [["3.8 m", "1 m"], ["3.8 m", "3 m"]]}}
    view = EYE._replace(heading=0.0)
    renderer = make(field=wall)
    before, behind = seen_from(view, 0.6, 0.1, "teal"), seen_from(view, 1.0, -0.1, "amber")
    frame = renderer.frame(scene(before, behind, view=view))
    assert lid_pixels(frame, "teal")[1] > 50
    assert lid_pixels(frame, "amber")[1] == 0


def test_a_held_jar_stays_put_in_the_frame_however_the_body_moves(make):
    renderer, held = make(camera={"ahead": "-8 cm"}), seen_from(EYE, 1.0, 0.0, held=True)
    here = lid_pixels(renderer.frame(scene(held, opening=0.5)))[0]
    there = EYE._replace(x=1.5, heading=-2.0)
    assert list(lid_pixels(renderer.frame(scene(held, view=there, pitch=0.02, opening=0.5)))[0]) == list(here)


def test_the_jaws_are_in_the_lower_edge_and_part_as_they_open(make):
    renderer = make(camera={"ahead": "-8 cm"})
    without = renderer.frame(scene())[-1].astype(int)

    def gap(opening):
        row = renderer.frame(scene(opening=opening))[-1].astype(int)
        return np.diff(np.flatnonzero(np.abs(row - without).max(axis=1) > 30)).max()

    assert gap(1.0) > 2 * gap(0.2)


def test_half_the_light_is_half_as_bright_and_a_cast_turns_the_hue(make):
    jar = seen_from(EYE, 0.5, 0.0)
    usual, dim = (make(light=level).frame(scene(jar)).astype(float).mean() for level in (1.0, 0.5))
    assert dim == pytest.approx(0.5 * usual, rel=0.02)
    warm = make(cast="20 %").frame(scene(jar)).astype(float).mean(axis=(0, 1))
    even = make().frame(scene(jar)).astype(float).mean(axis=(0, 1))
    assert warm / even == pytest.approx([0.8, 1.0, 1.2], abs=0.02)


def test_light_and_white_balance_change_slowly_about_their_level(make):
    renderer = make(light_change="30 %", cast_drift="10 %", light_time="60 s", cast_time="90 s")
    frames = [renderer.frame(scene(seconds=float(at))).astype(float).mean(axis=(0, 1)) for at in range(0, 90, 3)]
    levels, casts = [frame[1] for frame in frames], [frame[2] / frame[0] for frame in frames]
    assert max(levels) / min(levels) == pytest.approx(1.3 / 0.7, rel=0.03)
    assert max(casts) / min(casts) == pytest.approx((1.1 / 0.9) ** 2, rel=0.03)


def test_turning_blurs_upright_edges_and_leaves_level_ones(make):
    jar, renderer = seen_from(EYE, 0.3, 0.0), make(exposure="20 ms")
    still, turning = (renderer.frame(scene(jar, turn_rate=rate)).astype(float) for rate in (0.0, 1.5))
    middle = projected(EYE, [[jar.x, jar.y, jar.height]])[0].round().astype(int)
    across = [np.abs(np.diff(frame[middle[1], :, 0])).max() for frame in (still, turning)]
    down = [np.abs(np.diff(frame[: middle[1], middle[0], 0])).max() for frame in (still, turning)]
    assert across[1] < 0.5 * across[0]
    assert down[1] > 0.8 * down[0]


def test_noise_is_as_large_as_stated_and_another_in_each_frame(make):
    clean, noisy = make(), make(noise="2 %")
    first, second = (noisy.frame(scene(number=number)).astype(float) for number in (0, 1))
    assert (first - clean.frame(scene()).astype(float)).std() == pytest.approx(0.02 * 255.0, rel=0.1)
    assert (first != second).mean() > 0.5


def test_a_shadow_is_darker_than_the_floor_and_of_its_colour(make):
    jar = seen_from(EYE, 0.4, 0.0)
    plain, shaded = (make(shadow=share).frame(scene(jar)).astype(float) for share in ("0 %", "40 %"))
    kept = shaded.sum(axis=2) / plain.sum(axis=2)
    assert kept.min() == pytest.approx(0.6, abs=0.06)


def test_the_marker_shows_its_two_colours_side_by_side_at_the_height_of_the_horizon(make):
    field = {"zone": {"x": "4.6 m", "y": "2 m", "width": "1 m", "depth": "1 m", "marker": ["5.5 m", "2 m"]}}
    renderer = make(field=field, marker={"left": "teal", "right": "violet"})
    view = EYE._replace(heading=0.0, y=2.0)
    frame = renderer.frame(scene(view=view))
    left, right = lid_pixels(frame, "teal")[0], lid_pixels(frame, "violet")[0]
    assert right[0] - left[2] in (1, 2)
    width = renderer.lens.focal * math.cos(TILT) / 2.5 * 0.1
    assert right[2] - left[0] == pytest.approx(width, abs=2.0)
    horizon = (renderer.lens.height - 1) / 2.0 - renderer.lens.focal * math.tan(TILT)
    assert (left[1] + left[3]) / 2.0 == pytest.approx(horizon, abs=1.5)


def test_the_true_colour_of_a_lid_can_be_given(make):
    frame = make(lids={"amber": [4, 220, 220]}).frame(scene(seen_from(EYE, 0.4, 0.0)))
    red = cv2.inRange(cv2.cvtColor(frame, cv2.COLOR_BGR2HSV), (2, 150, 100), (6, 255, 255))
    assert (red > 0).sum() > 100


def test_a_colour_comes_back_from_its_hue():
    colour = np.round(from_hsv(19, 255, 255)).astype(np.uint8).reshape(1, 1, 3)
    assert list(cv2.cvtColor(colour, cv2.COLOR_BGR2HSV)[0, 0]) == [19, 255, 255]


def test_one_seed_and_number_give_one_frame_and_another_gives_another(make):
    jars = [seen_from(EYE, 0.5, 0.0), seen_from(EYE, 1.0, 0.4, "teal")]
    keys = {"noise": "1 %", "leaves": 20, "pots": 5, "shadow": "40 %"}
    one, again = make(seed=3, **keys), make(seed=3, **keys)
    shots = [one.frame(scene(*jars, number=number)) for number in (7, 8)]
    assert np.array_equal(again.frame(scene(*jars, number=7)), shots[0])
    assert not np.array_equal(shots[0], shots[1])
    assert not np.array_equal(make(seed=4, **keys).frame(scene(*jars, number=7)), shots[0])


@pytest.mark.parametrize("heading", [0.0, 1.0, 2.5, -1.5])
def test_a_camera_against_a_wall_or_over_a_jar_draws_something_all_the_same(make, heading):
    renderer = make(field={"walls": {"south": [["0 m", "0 m"], ["6 m", "0 m"]]}}, pots=8)
    view = Viewpoint(3.0, 0.02, 0.22, heading, TILT)
    frame = renderer.frame(scene(seen_from(view, 0.01, 0.0), seen_from(view, -0.3, 0.0), view=view, opening=1.0))
    assert frame.shape == (240, 320, 3)
    assert 20 < frame.mean() < 235
