"""Light, and what the camera's electronics make of it: level, colour cast, blur, noise."""

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from rover.bench.draws import drawn, stream
from rover.bench.render_paint import Image
from rover.files.bench_effects import Rendering

SOFTNESS = 0.45
"""Standard deviation in pixels by which a cheap lens is out of focus."""
NOISE_PLAY = 64
"""Rows and columns by which the tile of noise is larger than a frame, so that frames do not share one pattern."""


class Light(NamedTuple):
    """The light of one frame: gains of blue, green and red (1: as the things' own colours are)."""

    blue: float
    green: float
    red: float


class Weather:
    """How the light changes in a run: a level drawn for the seed, a slow wave on it, and a cast that drifts.

    A cast of 10 % makes red 10 % brighter and blue 10 % darker, as a lamp warmer than the white balance thinks.
    """

    def __init__(self, file: Rendering, seed: int) -> None:
        draws = stream(seed, "light")
        self._file = file
        self._level, self._cast = drawn(file.light, draws), drawn(file.cast, draws)
        self._phases = draws.uniform(0.0, 2.0 * math.pi), draws.uniform(0.0, 2.0 * math.pi)

    def at(self, seconds: float) -> Light:
        """Return the light at a time (s) of the run."""
        file = self._file
        level = self._level * (1.0 + file.light_change * _wave(seconds, file.light_time, self._phases[0]))
        cast = self._cast + file.cast_drift * _wave(seconds, file.cast_time, self._phases[1])
        return Light(level * (1.0 - cast), level, level * (1.0 + cast))


def _wave(seconds: float, period: float, phase: float) -> float:
    return math.sin(2.0 * math.pi * seconds / period + phase)


class Sensor:
    """The picture element array: blurs while it turns, takes the light's colour, clips and is noisy."""

    def __init__(self, shape: tuple[int, int], noise: float, generator: np.random.Generator) -> None:
        rows, columns = shape[0] + NOISE_PLAY, shape[1] + NOISE_PLAY
        self._noise = np.round(generator.normal(0.0, 255.0 * noise, (rows, columns, 3))).astype(np.int16)

    def expose(self, scene: Image, light: Light, blur: float, generator: np.random.Generator) -> Image:
        """Return the frame of a scene; ``blur`` is how many pixels it moves sideways while the shutter is open."""
        import cv2

        frame = cv2.sepFilter2D(scene, -1, _sideways(round(abs(blur), 1)), _sideways(0.0))
        frame = cv2.LUT(frame, _curve(light))
        down, across = generator.integers(0, NOISE_PLAY, 2)
        tile = self._noise[down : down + scene.shape[0], across : across + scene.shape[1]]
        return np.asarray(cv2.add(frame, tile, dtype=cv2.CV_8U), np.uint8)


def _curve(light: Light) -> Image:
    """Return the table from a thing's own colour to the brightness in the frame, for each channel."""
    steps = np.arange(256.0)
    table = np.stack([steps * gain for gain in light], axis=-1)
    return np.clip(np.round(table), 0, 255).astype(np.uint8).reshape(1, 256, 3)


@lru_cache(maxsize=512)
def _sideways(blur: float) -> Any:
    """Return the line-spread function: a box as wide as the blur, spread by the lens' softness."""
    half = math.ceil(blur / 2.0 + 3.0 * SOFTNESS)
    places = np.arange(-half, half + 1.0)
    steps = np.linspace(-blur / 2.0, blur / 2.0, 15)
    weights = np.exp(-0.5 * ((places[:, None] - steps) / SOFTNESS) ** 2).sum(axis=1)
    return weights / weights.sum()
