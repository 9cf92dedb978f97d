"""Pictures for a person: what was found drawn into a frame, and a colour's mask beside it."""

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rover.errors import UserError
from rover.vision.detector import MarkedDetection

INK, PAPER = (43, 38, 35), (243, 249, 251)
LEAST_WIDTH = 640
"""Smaller pictures are enlarged to this (pixels), so that the writing can be read."""


def write_picture(path: Path, image: Any) -> Path:
    """Write a picture, as its ending says; return its path.

    Raises:
        OSError: it cannot be written.
    """
    import cv2

    good, content = cv2.imencode(path.suffix, image)
    if not good:
        raise UserError(f"{path} cannot be made")
    path.write_bytes(content.tobytes())
    return path


def described(seen: MarkedDetection) -> str:
    """Return one line about a detection: kind, distance and bearing with their 95 % intervals."""
    one = seen.detection
    bearing, bearing_most = math.degrees(one.bearing), 1.96 * math.degrees(one.bearing_sigma)
    distance = f"{one.distance:.2f} m +- {1.96 * one.distance_sigma:.2f}"
    return f"{one.kind}  {distance}  {bearing:+.1f} deg +- {bearing_most:.1f}"


def annotated(image: Any, found: Iterable[MarkedDetection]) -> Any:
    """Return a copy of a picture, large enough to read, with a box and a line of text for each detection."""
    import cv2

    times = max(1, -(-LEAST_WIDTH // image.shape[1]))
    copy = cv2.resize(image, None, fx=times, fy=times, interpolation=cv2.INTER_NEAREST)
    for seen in found:
        edges = seen.extent
        corners = ((edges.left, edges.top), (edges.right, edges.bottom))
        low, high = ((round(times * x), round(times * y)) for x, y in corners)
        cv2.rectangle(copy, (low[0] - 3, low[1] - 3), (high[0] + 3, high[1] + 3), PAPER, 3)
        cv2.rectangle(copy, (low[0] - 3, low[1] - 3), (high[0] + 3, high[1] + 3), INK, 1)
        _write(copy, described(seen), (low[0], low[1] - 8))
    return copy


def _write(image: Any, text: str, at: tuple[int, int]) -> None:
    """Write a line of text on a ground of its own: letters of two weights are of different widths in some versions."""
    import cv2

    font, size = cv2.FONT_HERSHEY_SIMPLEX, 0.5
    (width, height), below = cv2.getTextSize(text, font, size, 1)
    left, bottom = max(2, min(at[0], image.shape[1] - width - 3)), max(height + 3, at[1])
    cv2.rectangle(image, (left - 2, bottom - height - 3), (left + width + 2, bottom + below), PAPER, cv2.FILLED)
    cv2.putText(image, text, (left, bottom), font, size, INK, 1, cv2.LINE_AA)


def beside(image: Any, mask: Any, box: tuple[int, int, int, int]) -> Any:
    """Return a picture with its marked box, and a mask to the right of it."""
    import cv2

    left, top, width, height = box
    copy = image.copy()
    cv2.rectangle(copy, (left - 2, top - 2), (left + width + 1, top + height + 1), PAPER, 1)
    return cv2.hconcat([copy, cv2.cvtColor(mask, cv2.COLOR_GRAY2BGR)])
