"""Simple frames: lids as upright discs with a rim on a mottled grey floor, projected by OpenCV's own function."""

import math
from typing import NamedTuple

import cv2
import numpy

from rover.devices.camera.keys import CameraKeys
from rover.files.errand import Kind
from rover.files.robot import Colour, Marker
from rover.vision.lens import focal_length

TINTS = {"amber": (50, 166, 230), "teal": (128, 128, 29), "violet": (128, 44, 74)}
COLOURS = {
    "amber": Colour(hue=(14, 26)),
    "teal": Colour(hue=(82, 98)),
    "violet": Colour(hue=(122, 142)),
}
KINDS = {name: Kind.model_validate({"lid": name, "height": "60 mm", "width": "50 mm"}) for name in TINTS}
MARKER = Marker.model_validate({"left": "teal", "right": "violet"})
RIM = 0.012
FINER = 4
"""Frames are drawn so many times finer and averaged: a pixel on an edge is a mixture."""
FLOOR = 150


class Jar(NamedTuple):
    """A jar's colour and place (m, from the camera's foot)."""

    colour: str
    ahead: float
    left: float


def camera(**keys):
    return CameraKeys.model_validate({"driver": "video", "frame_width": 320, "frame_height": 240, **keys})


def matrix(device, scale=1):
    width, height = device.frame_width * scale, device.frame_height * scale
    focal = focal_length(width, device.field_of_view)
    return numpy.array([[focal, 0, width / 2 - 0.5], [0, focal, height / 2 - 0.5], [0, 0, 1]])


def project(device, points, pitch=0.0, scale=1):
    """Return pixels by `cv2.projectPoints`, whose pixels have their middles at whole numbers."""
    tilt = device.tilt + pitch
    c, s = math.cos(tilt), math.sin(tilt)
    rotation = numpy.array([[0, -1, 0], [-s, 0, -c], [c, 0, -s]])
    vector, _ = cv2.Rodrigues(rotation)
    shift = -rotation @ numpy.array([0.0, 0.0, device.height])
    lens = numpy.array(device.distortion or (0.0, 0.0, 0.0, 0.0), float)
    pixels, _ = cv2.projectPoints(numpy.array(points, float), vector, shift, matrix(device, scale), lens)
    return pixels[:, 0]


def disc(jar, above, radius=0.025):
    turns = numpy.linspace(0, 2 * math.pi, 72, endpoint=False)
    return [(jar.ahead + radius * math.cos(t), jar.left + radius * math.sin(t), above) for t in turns]


def blank(device, seed=1):
    noise = numpy.random.default_rng(seed)
    shape = (device.frame_height, device.frame_width, 3)
    return numpy.clip(noise.normal(FLOOR, 3.0, shape), 0, 255).astype(numpy.uint8)


def draw(device, jars, pitch=0.0, seed=1):
    """Return a frame of some jars, the farthest drawn first."""
    fine = cv2.resize(blank(device, seed), None, fx=FINER, fy=FINER, interpolation=cv2.INTER_NEAREST)
    for jar in sorted(jars, key=lambda one: -one.ahead):
        tint = TINTS.get(jar.colour, jar.colour)
        rim = numpy.concatenate([project(device, disc(jar, above), pitch, FINER) for above in (0.06, 0.06 - RIM)])
        _fill(fine, rim, tuple(0.8 * part for part in tint))
        _fill(fine, project(device, disc(jar, 0.06), pitch, FINER), tint)
    return cv2.resize(fine, (device.frame_width, device.frame_height), interpolation=cv2.INTER_AREA)


def draw_marker(device, ahead, left, turned=0.0, size=0.1):
    """Return a frame of the tray's marker, turned from the line of sight (rad)."""
    fine = cv2.resize(blank(device), None, fx=FINER, fy=FINER, interpolation=cv2.INTER_NEAREST)
    away = math.atan2(left, ahead) + turned
    for colour, near, far in (("teal", 0.5, 0.0), ("violet", 0.0, -0.5)):
        corners = [
            (ahead - size * side * math.sin(away), left + size * side * math.cos(away), device.height + size * up)
            for side, up in ((near, 0.5), (far, 0.5), (far, -0.5), (near, -0.5))
        ]
        _fill(fine, project(device, corners, 0.0, FINER), TINTS[colour])
    return cv2.resize(fine, (device.frame_width, device.frame_height), interpolation=cv2.INTER_AREA)


def _fill(image, pixels, tint):
    cv2.fillConvexPoly(image, numpy.round(cv2.convexHull(pixels.astype(numpy.float32)) * 16).astype(int), tint, shift=4)
