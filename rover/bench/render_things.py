"""What stands on the floor: upright cylinders (objects, pots, posts), the marker's plate, the robot's own jaws."""

import math
from typing import NamedTuple

import numpy as np

from rover.bench.render_lens import Floats, Projection, Viewpoint
from rover.bench.render_paint import Colour, Easel, Image, darken, hull, shaded
from rover.devices.jaws import FINGER, JawsSize

LID_DEPTH = 0.012
"""How far (m) a lid's rim comes down."""
BODY_SHARE = 0.92
"""An object's body is this much narrower than its lid."""
ROUND = np.linspace(0.0, 2.0 * math.pi, 25)[:-1]
"""Directions of the points by which a circle is drawn: it is less than 1 % out of round."""
CIRCLE: Floats = np.column_stack([np.cos(ROUND), np.sin(ROUND)])
FACET_MIDDLES: Floats = 0.5 * (CIRCLE + np.roll(CIRCLE, -1, axis=0))
FACETS_FROM = 14.0
"""Cylinders at least so many pixels wide are shaded round; narrower ones are drawn in one tone."""
SUN_HEIGHT = math.radians(50.0)
JAW_HEIGHT = 0.035
JAW_TONE: Colour = (58.0, 56.0, 55.0)
GLASS: Colour = (172.0, 182.0, 180.0)


class Upright(NamedTuple):
    """A cylinder: its middle and radius (m), and from which height to which (m), its side's and its top's colour."""

    x: float
    y: float
    radius: float
    foot: float
    top: float
    side: Colour
    face: Colour


def circle(x: float, y: float, z: float, radius: float) -> Floats:
    """Return points (n by 3, m) on a level circle."""
    points = np.empty((len(CIRCLE), 3))
    points[:, :2] = CIRCLE * radius + (x, y)
    points[:, 2] = z
    return points


def body_and_lid(place: tuple[float, float], width: float, height: float, lid: Colour) -> tuple[Upright, Upright]:
    """Return an object's body and its lid, lower one first."""
    x, y = place
    under = max(height - LID_DEPTH, height / 2.0)
    radius = width / 2.0
    body = Upright(x, y, BODY_SHARE * radius, 0.0, under, GLASS, GLASS)
    return body, Upright(x, y, radius, under, height, shaded(lid, 0.8), lid)


def draw_upright(image: Image, camera: Projection, thing: Upright, sun: float, light: float) -> None:
    """Draw a cylinder: its side, rounder the nearer it is, then its top if that is seen from above.

    ``sun``: direction (rad, field frame) from which the light comes; ``light``: share of it that falls here.
    """
    rims = np.vstack([circle(thing.x, thing.y, z, thing.radius) for z in (thing.foot, thing.top)])
    pixels = camera.pixels(rims)
    if pixels is None:
        return
    outline = hull(pixels)
    easel = Easel(image, outline)
    easel.fill(outline, shaded(thing.side, 0.85 * light))
    if np.ptp(outline[:, 0]) >= FACETS_FROM:
        _draw_facets(easel, pixels, camera.view, thing, _tones(sun) * light)
    if camera.view.height > thing.top:
        easel.fill(pixels[len(CIRCLE) :], shaded(thing.face, light))
    easel.put_back()


def _draw_facets(easel: Easel, pixels: Floats, view: Viewpoint, thing: Upright, tones: Floats) -> None:
    count = len(CIRCLE)
    towards = np.array([view.x - thing.x, view.y - thing.y])
    for at in np.flatnonzero(FACET_MIDDLES @ towards > thing.radius):
        after = (at + 1) % count
        corners = pixels[[at, after, count + after, count + at]]
        easel.fill(corners, shaded(thing.side, float(tones[at])))


def _tones(sun: float) -> Floats:
    """Return the brightness of a cylinder's facets: full towards the sun, less round the side (Lambert's law)."""
    facing = np.cos(ROUND + math.pi / len(ROUND) - sun)
    return np.asarray(0.72 + 0.33 * np.maximum(facing, 0.0))


def draw_shadow(image: Image, camera: Projection, thing: Upright, sun: float, share: float) -> None:
    """Draw the shadow that a cylinder throws on the floor, and the darkness at its foot."""
    reach = thing.top / math.tan(SUN_HEIGHT)
    away = (thing.x - reach * math.cos(sun), thing.y - reach * math.sin(sun))
    circles = np.vstack([circle(thing.x, thing.y, 0.0, 1.08 * thing.radius), circle(*away, 0.0, thing.radius)])
    pixels = camera.pixels(circles)
    if pixels is not None:
        outline = hull(pixels)
        darken(image, outline, share, float(np.clip(0.04 * np.ptp(outline[:, 0]), 0.5, 4.0)))


class Plate(NamedTuple):
    """An upright plate: its middle (m), the direction in which it faces (rad), its size (m), left and right colour."""

    x: float
    y: float
    z: float
    faces: float
    width: float
    height: float
    left: Colour
    right: Colour


def draw_plate(image: Image, camera: Projection, plate: Plate, light: float) -> None:
    """Draw a plate of two halves on its post; left and right are as one sees it who looks at it."""
    dx, dy = camera.view.x - plate.x, camera.view.y - plate.y
    if dx * math.cos(plate.faces) + dy * math.sin(plate.faces) <= 0.0:
        return
    right = np.array([-math.sin(plate.faces), math.cos(plate.faces), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    middle = np.array([plate.x, plate.y, plate.z])
    post = [middle + side * 0.012 * right - (plate.z if foot else 0.0) * up for side, foot in _CORNERS]
    _fill_solid(image, camera, np.array(post), shaded((120.0, 124.0, 126.0), light))
    half, rise = 0.5 * plate.width, 0.5 * plate.height
    for colour, sides in ((plate.left, (-half, 0.0)), (plate.right, (0.0, half))):
        corners = [
            middle + across * right + down * rise * up
            for across, down in zip((*sides, *reversed(sides)), (1.0, 1.0, -1.0, -1.0), strict=True)
        ]
        _fill_solid(image, camera, np.array(corners), shaded(colour, light))


_CORNERS = ((-1, False), (1, False), (1, True), (-1, True))


def _fill_solid(image: Image, camera: Projection, corners: Floats, colour: Colour) -> None:
    outline = camera.clipped(corners)
    if outline is not None:
        easel = Easel(image, outline)
        easel.fill(outline, colour)
        easel.put_back()


def draw_jaws(image: Image, camera: Projection, reach: float, jaws: JawsSize, opening: float, light: float) -> None:
    """Draw the two fingers. The camera's place is in the robot's frame here: ``reach`` ahead of its middle (m)."""
    gap = jaws.half_open * (0.14 + 0.49 * opening)
    for side in (-1.0, 1.0):
        inner, outer = side * gap, side * (gap + FINGER)
        back, front = reach - 0.09, reach + jaws.tips
        ring = np.array([[back, inner], [front, inner], [front, outer], [back, outer]])
        top = np.column_stack([ring, np.full(4, JAW_HEIGHT)])
        foot = np.column_stack([ring, np.full(4, 0.012)])
        for corners, tone in ((foot, 0.6), (np.vstack([top[[0, 1]], foot[[1, 0]]]), 0.75), (top, 1.0)):
            _fill_solid(image, camera, corners, shaded(JAW_TONE, tone * light))
