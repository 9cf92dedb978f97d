"""What stands still and is flat: the floor with its leaves and bands of shade, and the walls."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rover.bench.floor import Wall, distance_to
from rover.bench.render_lens import Floats, Projection
from rover.bench.render_paint import Colour, Image, fill, from_hsv, shaded
from rover.files.bench_effects import Rendering

Corners = Sequence[tuple[float, float]]
Texture = NDArray[np.float32]

TEXEL = 0.005
"""Side (m) of an element of the floor's texture."""
MARGIN = 0.4
"""How far (m) the floor's texture goes on beyond the field."""
SLAB = 0.6
"""Side (m) of the floor's slabs."""
BANDS = ((0.75, 1), (1.8, 4), (math.inf, 16))
"""To what distance (m) along the ground the floor is drawn how many times coarser: far away its grain would flicker."""
WALL_TEXEL = 0.01
WALL_HEIGHT = 1.6
KERB = 0.45
"""Height (m) of the masonry below the panes."""
STONE: Colour = (126.0, 134.0, 138.0)
LEAF_LENGTHS = (0.03, 0.07)
LEAF_HUES = (34.0, 50.0)
"""Yellow-green to green, on OpenCV's scale: between the amber and the teal lids."""


class FloorTexture:
    """The floor of one field.

    Args:
        corners: of the field (m).
        tray: low and high corner of the collection tray (m), if there is one.
        rendering: how many leaves lie about, and how much light the bands of shade take.
        generator: of the seed.
    """

    def __init__(
        self, corners: Corners, tray: Corners | None, rendering: Rendering, generator: np.random.Generator
    ) -> None:
        import cv2

        low, high = np.min(corners, axis=0) - MARGIN, np.max(corners, axis=0) + MARGIN
        self._low = low
        columns, rows = np.ceil((high - low) / TEXEL).astype(int)
        texture = _stone((rows, columns), generator)
        _lay_slabs(texture)
        if tray is not None:
            _paint_tray(texture, (np.array(tray) - [low, low]) / TEXEL)
        _strew(texture, rendering.leaves, generator)
        self._kept = _bands_of_shade((rows, columns), rendering.shadow, generator)
        texture = np.clip(texture * self._kept[..., None], 0, 255).astype(np.uint8)
        self._levels = {
            coarser: cv2.resize(texture, None, fx=1.0 / coarser, fy=1.0 / coarser, interpolation=cv2.INTER_AREA)
            for _, coarser in BANDS
        }

    def light(self, x: float, y: float) -> float:
        """Return the share of the light that falls on a place (m)."""
        rows, columns = self._kept.shape
        column, row = int((x - self._low[0]) / TEXEL), int((y - self._low[1]) / TEXEL)
        return float(self._kept[min(max(row, 0), rows - 1), min(max(column, 0), columns - 1)])

    def draw(self, image: Image, camera: Projection) -> None:
        """Draw the floor from the horizon down."""
        import cv2

        rows, columns = image.shape[:2]
        top = max(0, math.ceil(camera.horizon + 0.5))
        bottom = rows
        ground = camera.matrix[:, [0, 1, 3]]
        for reach, coarser in BANDS:
            first = max(top, min(bottom, math.ceil(_row_of(camera, reach))))
            if first < bottom:
                size = (columns, bottom - first)
                warp = _moved(0, first) @ ground @ self._texels_to_field(coarser)
                image[first:bottom] = cv2.warpPerspective(
                    self._levels[coarser], warp, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
                )
            bottom = first

    def _texels_to_field(self, coarser: int) -> Floats:
        side = TEXEL * coarser
        x, y = self._low + side / 2.0
        return np.array([[side, 0.0, x], [0.0, side, y], [0.0, 0.0, 1.0]])


def _row_of(camera: Projection, distance: float) -> float:
    """Return the row of the ground at a distance (m) straight ahead."""
    if math.isinf(distance):
        return camera.horizon
    view, lens = camera.view, camera.lens
    below = math.atan2(view.height, distance) - view.tilt
    return (lens.height - 1) / 2.0 + lens.focal * math.tan(below)


def _moved(left: int, up: int) -> Floats:
    """Return the shift by so many pixels."""
    return np.array([[1.0, 0.0, -left], [0.0, 1.0, -up], [0.0, 0.0, 1.0]])


def _mottled(shape: tuple[int, int], texels: int, generator: np.random.Generator) -> Texture:
    """Return smooth noise of unit standard deviation whose blotches are so many texels wide."""
    import cv2

    coarse = generator.normal(size=(shape[0] // texels + 3, shape[1] // texels + 3)).astype(np.float32)
    return np.asarray(cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC), np.float32)


def _stone(shape: tuple[int, int], generator: np.random.Generator) -> Texture:
    brightness = 1.0 + 0.0 * _mottled(shape, 1, generator)
    for texels, depth in ((1, 0.035), (4, 0.04), (20, 0.05), (120, 0.07)):
        brightness += depth * _mottled(shape, texels, generator)
    damp = np.clip(_mottled(shape, 90, generator) - 0.9, 0.0, 0.6)
    stone = np.array(STONE, np.float32) * (brightness * (1.0 - 0.5 * damp))[..., None]
    soil = np.clip(_mottled(shape, 30, generator) - 1.3, 0.0, 0.5)[..., None]
    return np.asarray(stone * (1.0 - soil) + np.array((74.0, 86.0, 96.0), np.float32) * soil, np.float32)


def _lay_slabs(texture: Texture) -> None:
    """Draw the joints between the slabs."""
    for axis in range(2):
        for at in range(round(0.13 / TEXEL), texture.shape[axis], round(SLAB / TEXEL)):
            joint = texture[at : at + 2] if axis == 0 else texture[:, at : at + 2]
            joint *= 0.62


def _paint_tray(texture: Texture, corners: Floats) -> None:
    """Lay the tray: a pale mat with a dark edge; its low and high corner in texels."""
    (left, low), (right, high) = np.round(corners).astype(int)
    mat = texture[low:high, left:right]
    mat[:] = 0.25 * mat + 0.75 * np.array((158.0, 164.0, 166.0), np.float32)
    for edge in (mat[:5], mat[-5:], mat[:, :5], mat[:, -5:]):
        edge *= 0.5


def _strew(texture: Texture, leaves: int, generator: np.random.Generator) -> None:
    """Strew leaves: flat lens shapes with a rib."""
    import cv2

    for _ in range(leaves):
        middle = generator.uniform((0.0, 0.0), (texture.shape[1], texture.shape[0]))
        half, turn = generator.uniform(*LEAF_LENGTHS) / 2.0 / TEXEL, generator.uniform(0.0, math.pi)
        along = half * np.array([math.cos(turn), math.sin(turn)])
        across = 0.38 * np.array([-along[1], along[0]])
        swing = np.linspace(0.0, 2.0 * math.pi, 17)[:-1, None]
        outline = middle + np.cos(swing) * along + np.sin(swing) * np.abs(np.sin(swing)) * across
        colour = from_hsv(generator.uniform(*LEAF_HUES), generator.uniform(90, 150), generator.uniform(90, 150))
        cv2.fillPoly(texture, [np.round(outline * 16).astype(np.int32)], colour, cv2.LINE_8, 4)
        tip, stalk = (np.round(16 * (middle + way)).astype(int).tolist() for way in (0.8 * along, -0.9 * along))
        cv2.line(texture, tip, stalk, shaded(colour, 0.75), 1, cv2.LINE_8, 4)


def _bands_of_shade(shape: tuple[int, int], shadow: float, generator: np.random.Generator) -> Texture:
    """Return the share of light left by the shadows of the roof's beams, parallel and about 1.2 m apart."""
    rows, columns = np.indices(shape, dtype=np.float32) * np.float32(TEXEL)
    turn = generator.uniform(0.3, 1.2)
    across = columns * np.float32(math.cos(turn)) + rows * np.float32(math.sin(turn))
    offset = np.float32(generator.uniform(0.0, 1.2))
    beside = np.abs((across + offset) % np.float32(1.2) - np.float32(0.6))
    edge = np.clip((beside - 0.08) / 0.03, 0.0, 1.0)
    return np.asarray(1.0 - shadow * (1.0 - edge), np.float32)


class Facade:
    """One wall: masonry below, panes with leaves behind them above."""

    def __init__(self, wall: Wall, generator: np.random.Generator) -> None:
        self.wall = wall  # it may be moved, not turned
        self._along = np.array([wall.along_x, wall.along_y, 0.0])
        self._corners = np.array([[0, 0], [wall.length, 0], [wall.length, WALL_HEIGHT], [0, WALL_HEIGHT]])
        self._texture = _masonry(wall.length, generator)

    def distance(self, x: float, y: float) -> float:
        """Return its distance (m) from a point."""
        return distance_to(self.wall, x, y)

    def draw(self, image: Image, camera: Projection) -> None:
        """Draw it where the camera sees it."""
        import cv2

        origin = np.array([self.wall.x, self.wall.y, 0.0])
        corners = origin + self._corners[:, :1] * self._along + self._corners[:, 1:] * (0.0, 0.0, 1.0)
        outline = camera.clipped(corners)
        if outline is None:
            return
        outline = np.clip(outline, -4000.0, 4000.0)
        rows, columns = image.shape[:2]
        left, top = np.maximum(np.floor(outline.min(axis=0)).astype(int), 0)
        right, bottom = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 1, (columns, rows))
        if left >= right or top >= bottom:
            return
        up = np.array([0.0, 0.0, 1.0])
        warp = camera.plane(origin, self._along, up) @ np.diag([WALL_TEXEL, WALL_TEXEL, 1.0])
        size = (int(right - left), int(bottom - top))
        drawn = cv2.warpPerspective(self._texture, _moved(left, top) @ warp, size, borderMode=cv2.BORDER_REPLICATE)
        mask = np.zeros(drawn.shape[:2], np.uint8)
        fill(mask, outline - (left, top), (255.0, 255.0, 255.0))
        cv2.copyTo(drawn, mask, image[top:bottom, left:right])


def _masonry(length: float, generator: np.random.Generator) -> Image:
    """Return a wall's texture, its foot in row 0."""
    shape = (round(WALL_HEIGHT / WALL_TEXEL), max(2, round(length / WALL_TEXEL)))
    kerb = round(KERB / WALL_TEXEL)
    brightness = 1.0 + 0.05 * _mottled(shape, 3, generator) + 0.06 * _mottled(shape, 25, generator)
    texture = np.array((150.0, 156.0, 158.0), np.float32) * brightness[..., None]
    behind = np.clip(0.5 + 0.5 * _mottled(shape, 14, generator), 0.0, 1.0)[..., None]
    panes = (
        np.array((186.0, 190.0, 180.0), np.float32) * (1.0 - behind)
        + np.array((112.0, 138.0, 118.0), np.float32) * behind
    )
    texture[kerb:] = panes[kerb:]
    texture[kerb : kerb + 4] = (168.0, 172.0, 172.0)
    for at in range(0, shape[1], 75):
        texture[kerb:, at : at + 4] = (176.0, 178.0, 178.0)
    texture[:3] *= 0.7
    return np.clip(texture, 0, 255).astype(np.uint8)
