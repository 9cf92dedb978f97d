"""Lids and the marker: found where they stand, and less surely the less there is to see of them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.vision.edges import Extent
from rover.vision.lens import Lens, MountedLens, direction, focal_length, pixel
from rover.vision.location import locate, locate_marker, locate_pair

FOCAL = focal_length(320, math.radians(60.0))
PLAIN = MountedLens(Lens(320, 240, FOCAL), 0.22, math.radians(15.0))
LID = (0.06, 0.05)

bearings = st.floats(-0.45, 0.45)
distances = st.floats(0.3, 3.0)


def lid_at(view, distance, bearing, rim=0.012):
    """Return the exact edges of a lid's patch."""
    x, y = distance * math.cos(bearing), distance * math.sin(bearing)
    turns = [2.0 * math.pi * step / 180 for step in range(180)]
    rings = [
        [pixel(view, x + 0.025 * math.cos(t), y + 0.025 * math.sin(t), above) for t in turns]
        for above in (0.06, 0.06 - rim)
    ]
    vs = [v for ring in rings for _, v in ring]
    # A side goes from the one ring down to the other, and leans: half-way it is looked at.
    left, right = (tuple(sum(parts) / 2.0 for parts in zip(*map(end, rings), strict=True)) for end in (min, max))
    return Extent(left[0], min(vs), right[0], max(vs), left[1], right[1])


@given(st.floats(0.35, 2.5), st.floats(-0.35, 0.35), st.sampled_from([0.0, 0.012, 0.02]))
def test_a_lid_is_found_where_it_stands_whatever_its_rim(distance, bearing, rim):
    place = locate(PLAIN, lid_at(PLAIN, distance, bearing, rim), *LID)
    assert place.bearing == pytest.approx(bearing, abs=math.radians(0.1))
    assert place.distance == pytest.approx(distance, rel=0.012)


@given(st.floats(0.35, 2.4), st.floats(0.05, 0.1), bearings)
def test_what_is_farther_is_less_certain(distance, more, bearing):
    near, far = (locate(PLAIN, lid_at(PLAIN, one, bearing / 2), *LID) for one in (distance, distance + more))
    assert far.distance_sigma > near.distance_sigma


def test_fewer_pixels_are_less_certain():
    few = MountedLens(Lens(160, 120, FOCAL / 2), 0.22, PLAIN.tilt)
    assert (
        locate(few, lid_at(few, 1.0, 0.0), *LID).distance_sigma
        > locate(PLAIN, lid_at(PLAIN, 1.0, 0.0), *LID).distance_sigma
    )


def test_pitch_alone_sets_the_certainty_of_the_row():
    """Cut off by the picture's side a lid has no width, and 0.6 deg at 1 m below a drop of 16 cm are 6.8 cm."""
    whole = lid_at(PLAIN, 1.0, math.radians(29.5))
    assert whole.left < 0.0
    place = locate(PLAIN, whole._replace(left=0.0), *LID)
    assert place.distance_sigma == pytest.approx(math.radians(0.6) * (1.0 + 0.16**2) / 0.16, rel=0.25)


def test_a_lid_half_beyond_the_edge_has_its_bearing_from_the_edge_in_sight():
    bearing = math.radians(31.0)
    whole = lid_at(PLAIN, 0.6, bearing)
    assert whole.left < 0.0
    place = locate(PLAIN, whole._replace(left=0.0), *LID)
    assert place.bearing == pytest.approx(bearing, abs=math.radians(0.5))
    assert place.distance == pytest.approx(0.6, rel=0.06)


def test_a_lid_cut_off_below_is_placed_by_its_far_edge():
    whole = lid_at(PLAIN, 0.21, 0.0)
    assert whole.bottom > 240.0 > whole.top
    assert locate(PLAIN, whole._replace(bottom=240.0), *LID).distance == pytest.approx(0.21, rel=0.03)


def test_a_lid_half_hidden_is_placed_by_its_row():
    whole = lid_at(PLAIN, 0.8, 0.1)
    hidden = whole._replace(left=0.55 * whole.right + 0.45 * whole.left)
    place = locate(PLAIN, hidden, *LID)
    assert place.distance == pytest.approx(0.8, rel=0.03)
    assert abs(place.bearing - 0.1) < 1.96 * place.bearing_sigma


def test_two_lids_that_make_one_patch_are_placed_by_their_row():
    one, other = lid_at(PLAIN, 0.8, 0.03), lid_at(PLAIN, 0.8, -0.03)
    assert locate(PLAIN, one._replace(right=other.right), *LID).distance == pytest.approx(0.8, rel=0.03)


def both(one, other):
    """Return the edges of two lids' patches in one."""
    low, high = min(one, other), max(one, other)
    rows = low.left_row, high.right_row
    return Extent(low.left, min(one.top, other.top), high.right, max(one.bottom, other.bottom), *rows)


@given(st.floats(0.35, 2.0), st.floats(-0.3, 0.3))
def test_two_lids_side_by_side_in_one_patch_are_placed_each_by_its_own_edge(distance, bearing):
    apart = 0.055 / distance
    one, other = (lid_at(PLAIN, distance, bearing + side * apart / 2.0) for side in (1, -1))
    left, right = locate_pair(PLAIN, both(one, other), *LID)
    for place, side in ((left, 1), (right, -1)):
        assert place.distance == pytest.approx(distance, rel=0.03)
        assert abs(place.bearing - (bearing + side * apart / 2.0)) < math.radians(0.5)


@given(st.floats(0.35, 2.5), st.floats(-0.35, 0.35), st.sampled_from([0.0, 0.012, 0.02]))
def test_a_lone_lid_is_no_pair(distance, bearing, rim):
    assert locate_pair(PLAIN, lid_at(PLAIN, distance, bearing, rim), *LID) is None


def test_a_lid_half_hidden_behind_another_does_not_make_it_seem_nearer():
    """The nose is up by 0.6 deg: by row and width together the two might be one at 1.7 m."""
    nodding = PLAIN._replace(tilt=PLAIN.tilt - math.radians(0.6))
    patch = both(lid_at(nodding, 2.2, 0.006), lid_at(nodding, 2.45, -0.007))
    place, fooled = (locate(PLAIN, one, *LID) for one in (patch, patch._replace(left_row=None)))
    assert abs(place.distance - 2.45) < 1.96 * place.distance_sigma
    assert abs(fooled.distance - 2.2) > 1.96 * fooled.distance_sigma


@pytest.mark.parametrize(
    "patch",
    [
        Extent(100, 20, 113, 24),  # above the horizon
        Extent(100, 0, 113, 4),  # cut off by the top edge: what goes on above the horizon stands on no floor
        Extent(50, 140, 200, 180),  # a metre wide where it stands
        Extent(100, 140, 102, 141),  # a speck
    ],
)
def test_what_cannot_be_a_lid_on_the_floor_is_nothing(patch):
    assert locate(PLAIN, patch, *LID) is None


def test_a_far_lid_a_little_above_the_horizon_is_placed_by_its_width():
    """The chassis nods by a degree and a half: by its row alone the lid would be beyond all distance."""
    nodding = PLAIN._replace(tilt=PLAIN.tilt + math.radians(1.6))
    far = lid_at(nodding, 6.0, 0.0)
    assert direction(PLAIN, far.left, far.top).fall < 0.0
    place = locate(PLAIN, far, *LID)
    assert abs(place.distance - 6.0) < 3.0 * place.distance_sigma


def test_a_lid_at_the_cameras_height_has_its_width_alone():
    view = PLAIN._replace(height=0.06)
    assert locate(view, lid_at(view, 1.0, 0.1), *LID).distance == pytest.approx(1.0, rel=0.02)


def test_a_lid_above_the_camera_is_found_too():
    view = MountedLens(PLAIN.lens, 0.03, 0.0)
    assert locate(view, lid_at(view, 0.8, 0.1), *LID).distance == pytest.approx(0.8, rel=0.02)


def halves_at(view, distance, bearing, turned):
    x, y = distance * math.cos(bearing), distance * math.sin(bearing)
    away = bearing + turned
    found = []
    for sides in ((0.05, 0.0), (0.0, -0.05)):
        corners = [(x - side * math.sin(away), y + side * math.cos(away)) for side in sides]
        (left, top), (right, _) = (pixel(view, *corner, view.height + 0.05) for corner in corners)
        bottom = pixel(view, *corners[0], view.height - 0.05)[1]
        found.append(Extent(left, top, right, bottom, top, top))
    return tuple(found)


@given(st.floats(0.8, 2.5), st.floats(-0.2, 0.2), st.floats(-0.8, 0.8))
def test_the_marker_is_found_even_aslant(distance, bearing, turned):
    place = locate_marker(PLAIN, halves_at(PLAIN, distance, bearing, turned), 0.1, 0.1)
    assert place.distance == pytest.approx(distance, rel=0.05)
    assert place.bearing == pytest.approx(bearing, abs=math.radians(0.6))


def test_what_lies_on_the_floor_is_no_marker():
    halves = tuple(
        half._replace(top=half.top + 60, bottom=half.bottom + 60) for half in halves_at(PLAIN, 1.0, 0.0, 0.0)
    )
    assert locate_marker(PLAIN, halves, 0.1, 0.1) is None
