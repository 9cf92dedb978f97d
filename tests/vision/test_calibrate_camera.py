"""Ranges from pixels, warnings, and the fit of field of view and tilt."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.files.robot import Colour
from rover.vision.calibrate_camera import (
    EdgeSighting,
    far_edge,
    fit_view,
    light_warnings,
    overlaps,
    pixels_of,
    proposed,
)
from rover.vision.lens import pixel, view_of


def lid_pixels(hue, saturation=190, value=170, spread=2, seed=1):
    draws = random.Random(seed)
    return [
        ((hue + draws.randint(-spread, spread)) % 180, saturation + draws.randint(-8, 8), value + draws.randint(-8, 8))
        for _ in range(400)
    ]


def holds(colour, pixel):
    low, high = colour.hue
    hue_fits = (pixel[0] - low) % 180 <= (high - low) % 180
    return (
        hue_fits
        and colour.saturation[0] <= pixel[1] <= colour.saturation[1]
        and colour.value[0] <= pixel[2] <= colour.value[1]
    )


@given(st.integers(0, 179), st.integers(0, 1000))
def test_proposed_ranges_take_in_the_lid_also_in_half_the_light(hue, seed):
    """Red, about zero, as any other."""
    pixels = lid_pixels(hue, spread=6, seed=seed)
    colour = proposed(pixels)
    assert all(holds(colour, one) for one in pixels)
    assert sum(holds(colour, (h, s, v // 2)) for h, s, v in pixels) >= 0.95 * len(pixels)
    assert (colour.hue[1] - colour.hue[0]) % 180 <= 2 * 6 + 2 * 4 + 2


def test_size_and_shape_limits_stay_as_they_were():
    present = Colour.model_validate({"hue": [0, 10], "fill": ["55 %", "90 %"]})
    assert proposed(lid_pixels(20), present).fill == (0.55, 0.9)


@pytest.mark.parametrize(
    ("pixels", "told"), [(lid_pixels(20)[:20], "too few"), ([(20, 10, 150)] * 400, "no colour"), ([], "too few")]
)
def test_what_is_marked_wrongly_is_told(pixels, told):
    with pytest.raises(ValueError, match=told):
        proposed(pixels)


@pytest.mark.parametrize(
    ("pixels", "told"),
    [
        (lid_pixels(20), []),
        (lid_pixels(20, value=45), ["amber: the light is poor"]),
        (lid_pixels(20, value=247), ["as bright as can be"]),
        (lid_pixels(20, spread=16), ["hues spread"]),
    ],
)
def test_poor_light_is_told(pixels, told):
    found = light_warnings("amber", pixels)
    assert len(found) == len(told)
    assert all(text in line for text, line in zip(told, found, strict=True))


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [
        ({"hue": [10, 20]}, {"hue": [20, 30]}, True),
        ({"hue": [10, 20]}, {"hue": [21, 30]}, False),
        ({"hue": [170, 5]}, {"hue": [3, 12]}, True),
        ({"hue": [170, 5]}, {"hue": [100, 172]}, True),
        ({"hue": [170, 5]}, {"hue": [6, 169]}, False),
        ({"hue": [0, 179]}, {"hue": [90, 91]}, True),
        ({"hue": [10, 20], "value": [40, 99]}, {"hue": [15, 25], "value": [100, 255]}, False),
    ],
)
def test_colours_that_overlap_are_found(one, other, meet):
    colours = {"one": Colour.model_validate(one), "other": Colour.model_validate(other)}
    assert bool(overlaps(colours)) is meet
    assert bool(overlaps(dict(reversed(colours.items())))) is meet


def test_the_part_of_a_box_outside_the_picture_is_left_out(scene):
    frame = scene.blank(scene.camera())
    assert len(pixels_of(frame, (-5, -5, 10, 10))) == 25
    assert pixels_of(frame, (400, 10, 10, 10)) == []


PLACES = [(0.5, 0.1), (0.8, -0.3), (1.2, 0.4), (2.0, -0.6), (1.0, 0.0)]


def sights(device, places=PLACES, noise=0.0, seed=1):
    view, draws = view_of(device, 320, 240), random.Random(seed)
    found = []
    for ahead, left in places:
        u, v = pixel(view, ahead, left, 0.06)
        found.append(EdgeSighting(u + draws.gauss(0.0, noise), v + draws.gauss(0.0, noise), ahead, left, 0.06))
    return found


@pytest.mark.parametrize("distortion", [[], [-0.2, 0.05]])
def test_field_of_view_and_tilt_are_found_again(scene, distortion):
    truth = scene.camera(field_of_view="68 deg", tilt="9 deg", distortion=distortion)
    fit = fit_view(scene.camera(distortion=distortion), sights(truth), (320, 240))
    assert (fit.field_of_view, fit.tilt) == pytest.approx((truth.field_of_view, truth.tilt), abs=1e-7)
    assert max(abs(part) for error in fit.errors for part in error) < 1e-5


def test_the_stated_sigmas_are_those_of_the_errors(scene):
    """Over many measurements with half a pixel of noise, errors in units of their sigma scatter by about one."""
    truth = scene.camera(field_of_view="68 deg", tilt="9 deg")
    fits = [fit_view(scene.camera(), sights(truth, noise=0.5, seed=seed), (320, 240)) for seed in range(200)]
    views = [(fit.field_of_view - truth.field_of_view) / fit.field_of_view_sigma for fit in fits]
    tilts = [(fit.tilt - truth.tilt) / fit.tilt_sigma for fit in fits]
    for scores in (views, tilts):
        assert 0.8 < math.sqrt(sum(score * score for score in scores) / len(scores)) < 1.4


def test_a_lid_seen_gives_the_view_by_its_far_edge(scene):
    """Drawn, found, and fitted: all the way."""
    from rover.vision.colour import patches_of

    truth = scene.camera(field_of_view="66 deg", tilt="18 deg")
    found = []
    for ahead, left in PLACES:
        frame = scene.draw(truth, [scene.Jar("teal", ahead, left)])
        (patch,) = patches_of(frame, {"teal": scene.COLOURS["teal"]})
        top = ((patch.extent.left + patch.extent.right) / 2.0, patch.extent.top)
        found.append(far_edge(top, ahead, left, (0.06, 0.05)))
    fit = fit_view(scene.camera(), found, (320, 240))
    assert math.degrees(fit.field_of_view) == pytest.approx(66.0, abs=0.4)
    assert math.degrees(fit.tilt) == pytest.approx(18.0, abs=0.1)


@pytest.mark.parametrize(
    ("places", "told"),
    [([(0.5, 0.1)], "two known places"), ([(1.0, 0.0), (1.0, 0.0)], "known places|tell field of view")],
)
def test_places_that_do_not_tell_are_refused(scene, places, told):
    device = scene.camera(tilt="0 deg", height="60 mm")
    with pytest.raises(ValueError, match=told):
        fit_view(device, sights(device, places), (320, 240))
