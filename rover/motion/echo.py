"""What the range finder's echoes say of the way ahead, between them and after they cease."""

import math
from collections import deque

from rover.devices.readings import RangeValue
from rover.files.robot import Robot

STRAY_ECHOES = 3
"""A distance is the median of so many readings, so that one stray echo does not stop the robot."""
TURNED_AWAY = 1.0
"""Turned by so much (rad) since the last echo, the range finder looks at something else."""
CLOSE = 0.4
"""After an echo nearer than this (m), silence means still close."""


class EchoMemory:
    """What is known of the way ahead: the median of the last readings, less the way travelled since each of them.

    After a close echo, silence means still close, until a real echo comes or the robot turns away.

    Args:
        front: how far (m) the robot reaches ahead of the sensor's face.
    """

    def __init__(self, front: float) -> None:
        self._front = front
        # Readings are kept as places along the way travelled, so that the older ones need no correction.
        self._recent: deque[float] = deque(maxlen=STRAY_ECHOES)
        self._place = math.inf
        self._way = self._turned = 0.0

    @property
    def gap(self) -> float:
        """Free way (m) ahead of the robot, infinite where nothing is known to stand there."""
        return self._place - self._way

    def hear(self, value: RangeValue) -> None:
        """Take a reading in."""
        if value.distance is not None:
            self._take(self._way + value.distance - self._front)
        elif self.gap > CLOSE:
            self._take(math.inf)

    def _take(self, place: float) -> None:
        self._recent.append(place)
        self._place = sorted(self._recent)[len(self._recent) // 2]
        self._turned = 0.0

    def moved(self, metres: float, turned: float) -> None:
        """Account for the robot's own motion since the last call (m, rad)."""
        self._way += metres
        self._turned += turned
        if abs(self._turned) > TURNED_AWAY:
            self._recent.clear()
            self._place, self._turned = math.inf, 0.0


def front_of_sensor(robot: Robot) -> float:
    """Return how far (m) body and jaws reach ahead of the range finder's face."""
    sensor = robot.devices.range
    front = max(0.5 * robot.body.length, robot.body.gripper_reach)
    return 0.0 if sensor is None else max(0.0, front - sensor.ahead)
