"""Seeing: how far off bearings and distances are on rendered frames, and what a frame takes on one core, and where.

``python tools/benchmarks/vision.py``. The frames to be measured are the demo's bay, drawn with 0.5 deg of pitch, floor,
shadows, leaves, light and noise; one jar stands in each. Errors are given as 95 % and worst of them.

Of the time, plain OpenCV calls are beside it: what anybody would write for the same masks and components, for each of
the three colours: convert, in-range, open, close, connected components with statistics. What is beyond that is the
price of edges to a fraction of a pixel, places with their sigmas, and telling bad frames.
"""

import math
import random
import time
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy

from rover.bench.render import Lidded, Renderer, Scene
from rover.bench.render_lens import Viewpoint
from rover.devices.camera.keys import CameraKeys
from rover.files.errand import Kind
from rover.files.robot import Colour, Marker
from rover.session.assembly import assemble
from rover.vision.colour import mask_of, patches_of, to_hsv
from rover.vision.detector import Detector, FrameWatch

COLOURS = {"amber": Colour(hue=(14, 30)), "teal": Colour(hue=(82, 98)), "violet": Colour(hue=(122, 148))}
TINTS = {"amber": (50, 166, 230), "teal": (128, 128, 29), "violet": (128, 44, 74)}
KINDS = {name: Kind.model_validate({"lid": name, "height": "60 mm", "width": "50 mm"}) for name in COLOURS}
MARKER = Marker.model_validate({"left": "teal", "right": "violet"})
SIZES = ((160, 120), (320, 240), (640, 480))
ROUNDS, FRAMES = 7, 60
SPECKS = 200
"""Small things of a lid's colour that are strewn over a frame: leaves, reflections, noise."""


def frames_of(width, height):
    """Return frames with nine lids and many specks on a noisy floor."""
    draws = numpy.random.default_rng(1)
    frames = []
    for _ in range(8):
        frame = numpy.clip(draws.normal(140, 8, (height, width, 3)), 0, 255).astype(numpy.uint8)
        for x, y in draws.uniform((0, 0.3), (1, 1), (SPECKS, 2)):
            tint = TINTS[("amber", "teal", "violet")[int(draws.integers(3))]]
            cv2.circle(frame, (int(x * width), int(y * height)), 1 + width // 640, tint, -1)
        for number in range(9):
            middle = int((0.06 + 0.11 * number) * width), int(draws.uniform(0.35, 0.9) * height)
            half = max(2, int(width * middle[1] / height * 0.03))
            cv2.ellipse(frame, middle, (half, half // 2), 0, 0, 360, TINTS[list(TINTS)[number % 3]], -1)
        frames.append(frame)
    return frames


def plain(frame):
    """Segment a frame by plain calls; return the statistics by colour."""
    hsv = cv2.cvtColor(frame, cv2.COLOR_BGR2HSV)
    rod = cv2.getStructuringElement(cv2.MORPH_RECT, (3, 1))
    square = cv2.getStructuringElement(cv2.MORPH_RECT, (3, 3))
    found = []
    for colour in COLOURS.values():
        low = (colour.hue[0], colour.saturation[0], colour.value[0])
        mask = cv2.inRange(hsv, low, (colour.hue[1], colour.saturation[1], colour.value[1]))
        if frame.shape[1] >= 320:
            mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, rod)
        mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, square)
        found.append(cv2.connectedComponentsWithStats(mask, connectivity=8)[2])
    return found


def masks_alone(frame):
    """Stop before the components."""
    hsv = to_hsv(frame)
    return [mask_of(hsv, colour) for colour in COLOURS.values()]


def microseconds(work, frames):
    """Return the least time a frame takes, over some rounds."""
    best = float("inf")
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        for number in range(FRAMES):
            work(frames[number % len(frames)])
        best = min(best, (time.perf_counter() - begun) / FRAMES)
    return best * 1e6


def measure(width, height):
    """Return the rows (what, us a frame) of one size."""
    camera = CameraKeys.model_validate({"driver": "video", "frame_width": width, "frame_height": height})
    detector, watch, frames = Detector(camera, COLOURS, KINDS, MARKER), FrameWatch(camera), frames_of(width, height)

    def whole(frame):
        watch.trouble(frame)
        return detector.detections(frame)

    return [
        ("plain OpenCV calls", microseconds(plain, frames)),
        ("the whole frame path", microseconds(whole, frames)),
        ("  whether the frame is good", microseconds(watch.trouble, frames)),
        ("  conversion", microseconds(to_hsv, frames)),
        ("  conversion and masks", microseconds(masks_alone, frames)),
        ("  these and patches", microseconds(lambda frame: patches_of(frame, COLOURS), frames)),
        ("  these and places", microseconds(detector.detections, frames)),
    ]


ERRAND = Path(__file__).parents[2] / "config" / "greenhouse.yaml"
EYE = (3.0, 2.0)
PITCH = math.radians(0.5)
DISTANCES = (0.4, 0.7, 1.0, 1.5, 2.0, 2.5)
JARS = 200


class Found(NamedTuple):
    """Errors of one detection: bearing (rad), distance as a share, and in its own sigmas."""

    bearing: float
    distance: float
    sigmas: float


def stage(width, height):
    """Return the demo's renderer, camera and detector for one size of frames; no lid is too far to be told."""
    assembly = assemble(ERRAND, {})
    size = {"frame_width": width, "frame_height": height}
    rendering = assembly.bench.rendering.model_copy(update=size)
    camera = assembly.robot.devices.camera.model_copy(update=size | {"sees_to": 4.0})
    bench = assembly.bench.model_copy(update={"rendering": rendering})
    renderer = Renderer(bench, assembly.robot, assembly.errand, 2)
    return renderer, camera, Detector(camera, assembly.robot.colours, assembly.errand.kinds)


def errors(renderer, camera, detector, distance):
    """Return what was found of jars that stood so far (m) from the lens, one in each frame."""
    draws, found = random.Random(round(1000 * distance)), []
    for number in range(JARS):
        heading, bearing = draws.uniform(-math.pi, math.pi), draws.uniform(-0.4, 0.4)
        kind, pitch = draws.choice(("amber", "teal", "violet")), draws.gauss(0.0, PITCH)
        way = heading + bearing
        jar = Lidded(kind, EYE[0] + distance * math.cos(way), EYE[1] + distance * math.sin(way), 0.025, 0.06, False)
        view = Viewpoint(*EYE, camera.height, heading, camera.tilt)
        frame = renderer.frame(Scene(number, 3.0 * number, view, pitch, 0.0, (jar,)))
        seen = [one for one in detector.detections(frame).objects if one.kind == kind]
        nearest = min(seen, key=lambda one: abs(one.bearing - bearing), default=None)
        if nearest is not None and abs(nearest.bearing - bearing) < 0.05:
            off = abs(nearest.distance - distance)
            found.append(Found(abs(nearest.bearing - bearing), off / distance, off / nearest.distance_sigma))
    return found


def print_errors(width, height):
    """Print the table of errors of one size."""
    print(f"{width}x{height}, {JARS} frames each, pitch 0.5 deg, standing: 95 % of the errors, and the worst")
    print("  distance (m)  found   bearing (deg)      distance (%)   inside the stated 95 % interval")
    bench = stage(width, height)
    for distance in DISTANCES:
        found = errors(*bench, distance)
        bearings = sorted(math.degrees(one.bearing) for one in found)
        shares = sorted(100.0 * one.distance for one in found)
        most = int(0.95 * (len(found) - 1))
        inside = sum(one.sigmas <= 1.96 for one in found) / len(found)
        print(
            f"  {distance:12.1f}  {len(found) / JARS:5.0%}   {bearings[most]:5.2f}  {bearings[-1]:5.2f}"
            f"      {shares[most]:5.1f}  {shares[-1]:5.1f}   {inside:6.1%}"
        )


def main():
    """Print the tables."""
    cv2.setNumThreads(1)
    for width, height in SIZES[:2]:
        print_errors(width, height)
    for width, height in SIZES:
        rows = measure(width, height)
        reference = rows[0][1]
        print(f"{width}x{height}, one core: {1e6 / rows[1][1]:.0f} frames a second")
        for name, value in rows:
            print(f"  {name:28}{value:9.0f} us   {value / reference:5.2f} of plain")


if __name__ == "__main__":
    main()
