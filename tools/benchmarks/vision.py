"""The frame path at 320 by 240 on one core: what a frame takes, where it goes, and plain OpenCV calls beside it.

The plain calls are what anybody would write for the same masks and components: convert, in-range, open, close,
connected components with statistics, for each of the three colours. What is beyond that is the price of edges to a
fraction of a pixel, places with their sigmas, and telling bad frames.
"""

import time

import cv2
import numpy

from rover.files.errand import Kind
from rover.files.robot import Camera, Colour, Marker
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
    camera = Camera.model_validate({"driver": "video", "frame_width": width, "frame_height": height})
    detector, watch, frames = Detector(camera, COLOURS, KINDS, MARKER), FrameWatch(camera), frames_of(width, height)

    def whole(frame):
        watch.trouble(frame)
        return detector.detections(frame)

    return [
        ("plain OpenCV calls", microseconds(plain, frames)),
        ("  conversion alone", microseconds(to_hsv, frames)),
        ("  masks, ours", microseconds(masks_alone, frames)),
        ("patches, ours", microseconds(lambda frame: patches_of(frame, COLOURS), frames)),
        ("whether the frame is good", microseconds(watch.trouble, frames)),
        ("the whole frame path", microseconds(whole, frames)),
    ]


def main():
    """Print the table."""
    cv2.setNumThreads(1)
    for width, height in SIZES:
        rows = measure(width, height)
        reference = rows[0][1]
        print(f"{width}x{height}, one core: {1e6 / rows[-1][1]:.0f} frames a second")
        for name, value in rows:
            print(f"  {name:28}{value:9.0f} us   {value / reference:5.2f} of plain")


if __name__ == "__main__":
    main()
