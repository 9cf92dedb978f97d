"""The range finder: it hears the nearest point in its cone that sends an echo back."""

import math
from collections.abc import Iterable

from rover.bench.draws import drawn, stream
from rover.bench.floor import Round, Wall
from rover.bench.objects import Piece
from rover.devices.range.keys import RangeKeys
from rover.files.bench import BenchFile
from rover.quantities import clamp


class Sonar:
    """An ultrasonic range finder in a place with walls that mirror sound and round things that scatter it."""

    def __init__(self, file: BenchFile, device: RangeKeys, seed: int | str) -> None:
        self._errors = file.range
        self._draws = stream(seed, "range")
        self._least, self._most = device.least, device.most
        self._half = device.beam / 2.0
        self._specular = drawn(file.range.specular_beyond, stream(seed, "specular"))
        self._cosine = math.cos(self._half)
        self._least_cosine = math.cos(min(math.pi, self._half + self._specular))

    def nearest(
        self, pose: tuple[float, float, float], walls: Iterable[Wall], rounds: Iterable[Round | Piece]
    ) -> float:
        """Return the true distance (m) to the nearest point that echoes, seen from the sensor's pose; inf if none."""
        x, y, heading = pose
        ahead, left = math.cos(heading), math.sin(heading)
        best = self._most
        for wall in walls:
            dx, dy = wall.x - x, wall.y - y
            if -best < dy * wall.along_x - dx * wall.along_y < best:  # its line is near enough to matter
                best = min(best, self._from_wall(wall, dx, dy, ahead, left))
        for each in rounds:
            dx, dy = each.x - x, each.y - y
            forward = dx * ahead + dy * left
            if -each.radius < forward < best + each.radius:
                best = min(best, _to_round(forward, dy * ahead - dx * left, each.radius, self._half))
        return best if best < self._most else math.inf

    def hear(self, nearest: float) -> float | None:
        """Return the distance (m) that is reported for the nearest true one, or None for no echo."""
        luck = self._draws.random()
        if luck < self._errors.stray:
            return self._draws.uniform(self._least, self._most)
        if luck < self._errors.stray + self._errors.missing or nearest > self._most:
            return None
        heard = nearest + self._draws.gauss(0.0, self._errors.noise)
        return clamp(heard, self._least, self._most)

    def _from_wall(self, wall: Wall, dx: float, dy: float, ahead: float, left: float) -> float:
        """Return the distance to a wall that begins at (dx, dy) from the sensor, which looks along (ahead, left)."""
        # How far the wall's line lies along its own left-hand normal (-along_y, along_x), seen from the sensor.
        away = dy * wall.along_x - dx * wall.along_y
        side = 1.0 if away >= 0.0 else -1.0
        cosine = side * (left * wall.along_x - ahead * wall.along_y)
        if cosine < self._least_cosine:
            return math.inf
        foot = -(dx * wall.along_x + dy * wall.along_y)
        if cosine >= self._cosine and 0.0 <= foot <= wall.length:
            return abs(away)
        axis = math.atan2(-(ahead * wall.along_x + left * wall.along_y), cosine)
        return self._slanting(abs(away), foot, wall.length, axis)

    def _slanting(self, distance: float, foot: float, length: float, axis: float) -> float:
        """Return the distance to the nearest point where the cone's rays meet the wall slantwise.

        ``axis`` is the angle of the cone's axis from the wall's normal, positive against the wall's direction.
        """
        low, high = axis - self._half, axis + self._half
        low, high = max(low, -self._specular), min(high, self._specular)
        if low > high or distance == 0.0:
            return math.inf
        begins, ends = foot - distance * math.tan(high), foot - distance * math.tan(low)
        begins, ends = max(0.0, begins), min(length, ends)
        if begins > ends:
            return math.inf
        return math.hypot(distance, clamp(foot, begins, ends) - foot)


def _to_round(ahead: float, left: float, radius: float, half: float) -> float:
    """Return the distance to the nearest point of a circle inside the cone of half angle ``half``; inf if none."""
    distance = math.hypot(ahead, left)
    if distance <= radius:
        return 0.0
    beside = abs(math.atan2(left, ahead)) - half
    if beside <= 0.0:
        return distance - radius
    sine = distance * math.sin(beside) if beside < math.pi / 2.0 else math.inf
    if sine >= radius:
        return math.inf
    return distance * math.cos(beside) - math.sqrt(radius * radius - sine * sine)
