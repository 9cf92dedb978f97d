"""Where the robot is while it is driven by hand: counts and heading alone, from where it was set down."""

import math
import statistics
from collections import deque
from typing import NamedTuple

from rover.devices.readings import HeadingValue, RangeValue, Reading, WheelCounts
from rover.estimate.covariance import Errors
from rover.estimate.odometry import Odometer
from rover.estimate.pose import PoseFilter
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.quantities import si

GROWTH = 2e-4
"""Metres of variance for each metre of a wheel, twice what a run takes."""
ECHOES = 9
"""So many reports tell a wall; some are missing or stray."""
ROLLS = si("2 mm")
"""Between two reports of the counts: what was heard before is of another place."""
PLACE_ERROR = si("1 deg")


class Stand(NamedTuple):
    """How the robot stands: pose, sigmas of place (m, worst axis) and heading (rad), the wheels' way so far (m)."""

    pose: Pose
    sigma: float
    heading_sigma: float
    travelled: float


class Track:
    """Follows the robot. The field's x axis is where its heading reads zero, or where it looks first."""

    def __init__(self, robot: Robot) -> None:
        self._robot, counts = robot, robot.devices.counts
        scales = (counts.left_scale, counts.right_scale)
        self._odometer = Odometer(robot.body.metres_per_count, robot.devices.drive.top_speed, scales)
        self._filter: PoseFilter | None = None
        self._travelled = 0.0
        self._echoes: deque[float | None] = deque(maxlen=ECHOES)
        if robot.devices.heading is None:
            self._begin(0.0)

    @property
    def stand(self) -> Stand | None:
        """How the robot stands now; None as long as nothing has told its heading."""
        if self._filter is None:
            return None
        self._filter.propagate()
        return Stand(self._filter.pose, self._filter.position_doubt.worst, self._filter.sigmas[2], self._travelled)

    @property
    def echo(self) -> float | None:
        """Distance (m) that the range finder tells: the median of its last reports; None where most had no echo."""
        echoes = [one for one in self._echoes if one is not None]
        return statistics.median(echoes) if 2 * len(echoes) > ECHOES else None

    def take(self, device: str, reading: Reading) -> None:
        """Take a reading in."""
        match device, reading.value:
            case "range", RangeValue(distance):
                self._echoes.append(distance)
            case "heading", HeadingValue(angle, rate):
                if self._filter is None:
                    self._begin(angle)
                self._filter.see_heading(angle, rate, reading.taken_ns)  # type: ignore[union-attr]
            case "counts", WheelCounts():
                self._roll(reading)

    def _begin(self, heading: float) -> None:
        device, body = self._robot.devices.heading, self._robot.body
        errors = Errors(
            start=(0.0, 0.0, 1e-3 if device is None else math.hypot(device.sigma, PLACE_ERROR)),
            growth=GROWTH,
            heading_noise=1.0 if device is None else device.sigma,
            heading_bias=PLACE_ERROR,
            heading_drift=1.5e-4 if device is None else device.drift,
            resolution=body.metres_per_count,
        )
        self._filter = PoseFilter(Pose(0.0, 0.0, heading), body.effective_track, errors, body.turn_centre)

    def _roll(self, reading: Reading) -> None:
        travel = self._odometer.travel(reading)
        if travel is None or self._filter is None:
            return
        left, right, seconds = travel
        self._filter.drive(left, right, seconds, reading.taken_ns)
        self._travelled += max(abs(left), abs(right))
        if max(abs(left), abs(right)) > ROLLS:
            self._echoes.clear()
