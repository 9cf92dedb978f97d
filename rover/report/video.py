"""A run as a time-lapse: the plan, on which path, finds and deliveries appear, and beside it the frames that were kept.

WebM with VP8, which OpenCV's wheels write on every machine, 64-bit ARM too, and which browsers play.
"""

import math
import os
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

from rover.errors import UserError, to_install
from rover.events import Delivery, Find, GivenUp
from rover.geometry import XY
from rover.record.frames import frames_in
from rover.record.run import RecordedRun, TrackSample, left_there
from rover.report import look
from rover.report.figures import ellipse_of, signs_in
from rover.report.floor import DrawnField, read_ground
from rover.report.numbers import clock
from rover.report.table import Letter
from rover.report.view import WIDTH, View, grid_lines, view_of

RATE = 15
"""Pictures a second."""
QUICKENED, SHORTEST_S, LONGEST_S = 20.0, 4.0, 60.0
"""It is so many times faster than the run, but lasts so long at least, and no longer than that."""
PANEL, FOOT = 400, 56
"""Width of the camera's frame beside the plan, where any was kept, and height of the words beneath (pixels)."""
ROBOT = 0.14
"""Half the length (m) of the triangle that stands for the robot."""
Image = Any


def write_video(run: RecordedRun, frames: Path, target: Path) -> Path:
    """Write the time-lapse of a run to ``target`` and return its path; what was there is replaced.

    Args:
        run: as read.
        frames: folder of the camera's frames, each named by the time (ns) at which it was taken; it may be missing.
        target: a file ending in ``.webm``.

    Raises:
        UserError: OpenCV is missing or cannot write it, or there is no path to show.
        RecordError: the record's header is not usable.
    """
    try:
        import cv2
    except ImportError:
        raise UserError(f"no video; this brings what writes it: {to_install('vision')}") from None
    if not run.track:
        raise UserError("no video: the record has no path of the robot")
    film = _Film(cv2, run, [(int(path.stem), path) for path in frames_in(frames)])
    writer = _writer(cv2, target, film.size)
    try:
        for at_ns in moments(run):
            writer.write(film.at(at_ns))
    finally:
        writer.release()
    return target


def moments(run: RecordedRun) -> Iterator[int]:
    """Yield the robot times (ns) of the pictures; the last stands for a second."""
    lasts_s = (run.ended_ns - run.started_ns) * 1e-9
    count = round(RATE * min(max(lasts_s / QUICKENED, SHORTEST_S), LONGEST_S))
    for number in range(count):
        yield run.started_ns + round((run.ended_ns - run.started_ns) * number / (count - 1))
    for _ in range(RATE):
        yield run.ended_ns


def _writer(cv2: Any, target: Path, size: tuple[int, int]) -> Any:
    with _without_remarks():
        writer = cv2.VideoWriter(str(target), cv2.VideoWriter_fourcc(*"VP80"), float(RATE), size)
    if not writer.isOpened():
        raise UserError(f"{target}: cannot be written as a video (WebM, VP8); is its folder there, and writable?")
    return writer


@contextmanager
def _without_remarks() -> Iterator[None]:
    """Keep from the terminal what OpenCV writes as it opens a file: that a tag is unknown, which does no harm."""
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


class _Film:
    """Draws the pictures of a run, one after the other in time.

    Attributes:
        size: of a picture (pixels).
    """

    def __init__(self, cv2: Any, run: RecordedRun, frames: Sequence[tuple[int, Path]]) -> None:
        import numpy as np

        ground = read_ground(run.header)
        self._cv2, self._run, self._frames = cv2, run, frames
        self._view, self._signs = view_of(ground, run), signs_in(run)
        height = math.ceil(self._view.bottom + FOOT) // 2 * 2 + 2
        self.size = (int(WIDTH) + (PANEL if frames else 0), height)
        self._times = [sample.at_ns for sample in run.track]
        self._drawn, self._happened = 0, 0
        self._plan: Image = np.full((height, self.size[0], 3), _bgr(look.PAPER), np.uint8)
        self._frame: tuple[int, Image] = (-1, None)
        _draw_ground(cv2, self._plan, self._view, ground)

    def at(self, now_ns: int) -> Image:
        """Return the picture at a time (ns), no earlier than the last."""
        self._go_on(now_ns)
        picture = self._plan.copy()
        sample = self._run.track[max(self._drawn - 1, 0)]
        self._draw_robot(picture, sample)
        state = sample.point.state.encode("ascii", "replace").decode()
        delivered = len(left_there(event for _, event in self._run.happenings[: self._happened]))
        words = f"{clock(now_ns - self._run.started_ns)} min:s   {state}   delivered {delivered}"
        words += f"   squares of {self._view.bold:g} m"
        self._write(picture, (48.0, self.size[1] - 14.0), words)
        self._put_frame(picture, now_ns)
        return picture

    def _go_on(self, now_ns: int) -> None:
        """Draw what has come up to a time on the plan, to stay there."""
        upto = bisect_right(self._times, now_ns)
        points = [(one.point.x, one.point.y) for one in self._run.track[max(self._drawn - 1, 0) : upto]]
        places = [self._pixel(*point) for point in points if all(map(math.isfinite, point))]
        for a, b in pairwise(places):
            self._cv2.line(self._plan, a, b, _bgr(look.INK_SOFT), 1, self._cv2.LINE_AA)
        self._drawn = upto
        happenings = self._run.happenings
        while self._happened < len(happenings) and happenings[self._happened].at_ns <= now_ns:
            self._draw_event(happenings[self._happened].event)
            self._happened += 1

    def _draw_event(self, event: object) -> None:
        if not isinstance(event, Find | Delivery | GivenUp) or not math.isfinite(event.x + event.y):
            return
        at, sign = self._pixel(event.x, event.y), self._signs[event.kind]
        match event:
            case Find():
                axes = ellipse_of(event)
                if math.isfinite(axes.major_m):
                    size = (round(axes.major_m * self._view.scale), round(axes.minor_m * self._view.scale))
                    turn = -math.degrees(axes.angle_rad)
                    self._cv2.ellipse(self._plan, at, size, turn, 0, 360, _bgr(look.INK), 1, self._cv2.LINE_AA)
                self._tag((at[0] + 16, at[1] - 16), sign, f"{sign.text}{event.number}")
            case Delivery():
                self._tag(at, sign, sign.text)
            case GivenUp():
                self._cv2.drawMarker(self._plan, at, _bgr(look.INK), self._cv2.MARKER_TILTED_CROSS, 14, 2)

    def _tag(self, middle: tuple[int, int], sign: Letter, text: str) -> None:
        half = 5 + 5 * len(text)
        a, b = (middle[0] - half, middle[1] - 9), (middle[0] + half, middle[1] + 9)
        self._cv2.rectangle(self._plan, a, b, _bgr(sign.tint.fill), -1)
        self._cv2.rectangle(self._plan, a, b, _bgr(look.INK), 1)
        self._write(self._plan, (a[0] + 4.0, b[1] - 4.0), text, sign.tint.letter)

    def _draw_robot(self, picture: Image, sample: TrackSample) -> None:
        import numpy as np

        x, y, heading = sample.point.x, sample.point.y, sample.point.heading
        if not math.isfinite(x + y + heading):
            return
        corners = [
            self._pixel(x + reach * ROBOT * math.cos(heading + turn), y + reach * ROBOT * math.sin(heading + turn))
            for reach, turn in ((1.3, 0.0), (1.0, 2.4), (1.0, -2.4))
        ]
        self._cv2.fillPoly(picture, [np.array(corners)], _bgr(look.INK), self._cv2.LINE_AA)

    def _put_frame(self, picture: Image, now_ns: int) -> None:
        """Put the frame that was taken last beside the plan; one that cannot be read is passed over."""
        at = bisect_right(self._frames, now_ns, key=lambda one: one[0]) - 1
        if at < 0:
            return
        if at != self._frame[0]:
            image = self._cv2.imread(str(self._frames[at][1]))
            self._frame = at, image if image is None else self._fitted(image)
        image = self._frame[1]
        if image is not None:
            top, left = 12, int(WIDTH) + 4
            picture[top : top + image.shape[0], left : left + image.shape[1]] = image

    def _fitted(self, image: Image) -> Image:
        high, wide = image.shape[:2]
        scale = min((PANEL - 8) / wide, (self.size[1] - 24) / high)
        return self._cv2.resize(image, (max(int(wide * scale), 1), max(int(high * scale), 1)))

    def _pixel(self, x: float, y: float) -> tuple[int, int]:
        return _pixel(self._view, (x, y))

    def _write(self, picture: Image, at: XY, text: str, colour: str = look.INK) -> None:
        place = (round(at[0]), round(at[1]))
        self._cv2.putText(
            picture, text, place, self._cv2.FONT_HERSHEY_SIMPLEX, 0.48, _bgr(colour), 1, self._cv2.LINE_AA
        )


def _draw_ground(cv2: Any, picture: Image, view: View, ground: DrawnField) -> None:
    import numpy as np

    for x in grid_lines(view.west, view.east, view.bold):
        cv2.line(picture, _pixel(view, (x, view.south)), _pixel(view, (x, view.north)), _bgr(look.GRID_BOLD), 1)
    for y in grid_lines(view.south, view.north, view.bold):
        cv2.line(picture, _pixel(view, (view.west, y)), _pixel(view, (view.east, y)), _bgr(look.GRID_BOLD), 1)
    for outline, thickness in ((ground.boundary, 1), (ground.tray, 2)):
        if outline:
            points = np.array([_pixel(view, point) for point in outline])
            cv2.polylines(picture, [points], True, _bgr(look.INK), thickness, cv2.LINE_AA)
    for a, b in (*ground.walls.values(), *ground.unmapped_walls):
        cv2.line(picture, _pixel(view, a), _pixel(view, b), _bgr(look.INK), 4, cv2.LINE_AA)
    for x, y, radius in ground.posts:
        cv2.circle(picture, _pixel(view, (x, y)), max(round(radius * view.scale), 3), _bgr(look.INK), 2, cv2.LINE_AA)


def _pixel(view: View, point: XY) -> tuple[int, int]:
    x, y = view.at(*point)
    return round(x), round(y)


def _bgr(colour: str) -> tuple[int, int, int]:
    """Return a colour such as ``#fbf9f3`` as OpenCV takes it."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return blue, green, red
