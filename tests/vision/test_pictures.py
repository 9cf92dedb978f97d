"""What is written into a picture for a person can be read."""

import math

import cv2
import numpy

from rover.devices.readings import Detection
from rover.vision.detector import MarkedDetection
from rover.vision.edges import Extent
from rover.vision.pictures import INK, PAPER, annotated


def test_letters_are_thin_and_dark_on_a_light_ground_of_their_own():
    """Also before a busy, dark picture; written once, for two passes of different weights do not lie on one another."""
    noise = numpy.random.default_rng(1).integers(0, 90, (480, 640, 3), numpy.uint8)
    seen = MarkedDetection(Detection("amber", math.radians(5), 1.2, 0.01, 0.02, 0.1), Extent(300, 200, 340, 230))
    drawn = annotated(noise, [seen])
    (left, top, width, height) = cv2.boundingRect((drawn == PAPER).all(2).astype(numpy.uint8)[:190])
    label = drawn[top : top + height, left : left + width].reshape(-1, 3)
    shares = [(abs(label.astype(int) - tint).max(1) < 12).mean() for tint in (PAPER, INK)]
    assert width > 200
    assert shares[0] > 0.6
    assert 0.02 < shares[1] < 0.3
