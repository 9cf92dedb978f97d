"""Lips on the floor, such as a door's: a side gets over one with duty enough, and is jolted."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.bench.draws import drawn, stream
from rover.bench.floor import Wall, stands_between, wall
from rover.files.bench_effects import Lip
from rover.files.robot import Body
from rover.files.types import Span


class Edge(NamedTuple):
    """A lip as it is in this run: its line, the duty that it takes, and the span of its jolts (rad)."""

    line: Wall
    duty: float
    jolt: Span


class Lips:
    """The lips of a floor, met by the middle of each side's wheels."""

    def __init__(self, lips: Sequence[Lip], body: Body, seed: int) -> None:
        draws = stream(seed, "lips")
        self._lips = [Edge(wall(lip.ends), drawn(lip.duty, draws), lip.jolt) for lip in lips]
        self._half = body.track / 2.0
        self._jolts = stream(seed, "jolts")

    def cross(
        self, before: tuple[float, float, float], after: tuple[float, float, float], duties: tuple[float, float]
    ) -> float | None:
        """Return by how much (rad) the robot is jolted on its way from pose to pose; None: a side does not get over.

        Args:
            before: the pose at the step's beginning (m, m, rad).
            after: the one at its end.
            duties: of the left and the right side.
        """
        jolt = 0.0
        for edge in self._lips:
            for side, duty in zip((1.0, -1.0), duties, strict=True):
                if not stands_between(edge.line, self._wheels(before, side), self._wheels(after, side)):
                    continue
                if abs(duty) < edge.duty:
                    return None
                jolt += drawn(edge.jolt, self._jolts)
        return jolt

    def _wheels(self, pose: tuple[float, float, float], side: float) -> tuple[float, float]:
        x, y, heading = pose
        return x - side * self._half * math.sin(heading), y + side * self._half * math.cos(heading)
