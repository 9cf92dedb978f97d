"""The same code on the rendered bench's frames: floor, shadows, leaves, pots, changing light, noise and pitch."""

import math
import random
from pathlib import Path

import pytest

from rover.bench.render import Lidded, Renderer, Scene
from rover.bench.render_lens import Viewpoint
from rover.runtime.assembly import assemble
from rover.vision.detector import Detector

ERRAND = Path(__file__).parents[2] / "config" / "greenhouse.yaml"
EYE = (3.0, 2.0)


@pytest.fixture(scope="module")
def bay():
    """The demo's errand, its camera with the size of the bench's frames, and the frames' renderer."""
    assembly = assemble(ERRAND, {})
    rendering = assembly.bench.rendering
    size = {"frame_width": rendering.frame_width, "frame_height": rendering.frame_height}
    camera = assembly.robot.devices.camera.model_copy(update=size)
    renderer = Renderer(assembly.bench, assembly.robot, assembly.errand, 2)
    return renderer, camera, Detector(camera, assembly.robot.colours, assembly.errand.kinds)


def errors(bay, distance, count=40):
    """Return (bearing error, distance error as a share and in m, detection) of jars found, and how many were not."""
    renderer, camera, detector = bay
    draws, found = random.Random(round(1000 * distance)), []
    for number in range(count):
        heading, bearing = draws.uniform(-math.pi, math.pi), draws.uniform(-0.4, 0.4)
        x, y = (base + distance * f(heading + bearing) for base, f in zip(EYE, (math.cos, math.sin), strict=True))
        view = Viewpoint(*EYE, camera.height, heading, camera.tilt)
        jar = Lidded(draws.choice(["amber", "teal"]), x, y, 0.025, 0.06, False)
        pitch = math.radians(draws.gauss(0.0, 0.5))
        frame = renderer.frame(Scene(number, 3.0 * number, view, pitch, 0.0, (jar,)))
        near = [one for one in detector.detections(frame).objects if abs(one.bearing - bearing) < 0.05]
        found += [
            (abs(one.bearing - bearing), abs(one.distance / distance - 1.0), abs(one.distance - distance), one)
            for one in near
            if one.kind == jar.kind
        ]
    return found, count - len(found)


@pytest.mark.parametrize(("distance", "limit"), [(0.4, 0.08), (0.7, 0.08), (1.0, 0.08), (1.8, 0.25)])
def test_lids_are_placed_as_well_as_is_stated(bay, distance, limit):
    found, missed = errors(bay, distance)
    assert missed <= 1
    assert math.degrees(max(bearing for bearing, _, _, _ in found)) <= 0.5
    assert max(share for _, share, _, _ in found) <= limit
    assert sum(error <= 1.96 * one.distance_sigma for _, _, error, one in found) >= 0.95 * len(found)
