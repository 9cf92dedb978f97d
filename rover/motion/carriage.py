"""From a wanted motion to the duties of the two motor channels, whoever wants it: behaviour, jog or calibration.

What may move, what holds it back and how fast it may change is decided here and nowhere else.
"""

from rover.estimate.field import Ground
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.motion.echo import EchoMemory, front_of_sensor
from rover.motion.limits import Allowed, Limits, Situation
from rover.motion.request import Request
from rover.motion.wheels import WheelControl

USABLE_SHARE = 0.95
"""Wheels are asked for this share of the top speed at most, so that their control has something left."""


class Carriage:
    """The robot's limits, the echoes that they heed, and the control of its wheels.

    Args:
        robot: the robot file.
        ground: the field; None where only the person knows where the floor ends.
    """

    def __init__(self, robot: Robot, ground: Ground | None = None) -> None:
        drive = robot.devices.drive
        self.limits = Limits(robot, ground)
        self.echoes = EchoMemory(front_of_sensor(robot))
        self._left = WheelControl(drive.top_speed, drive.dead_band)
        self._right = WheelControl(drive.top_speed, drive.dead_band)
        self._fastest = USABLE_SHARE * drive.top_speed

    def allow(
        self, request: Request, now_ns: int, seconds: float, pose: Pose | None = None, standstill: str = ""
    ) -> Allowed:
        """Return what the limits leave of a request.

        Args:
            request: what is wanted.
            now_ns: time of the step.
            seconds: since the last one.
            pose: where the robot is in the field, if it has one.
            standstill: why the wheels must stand still for want of a device, or empty.
        """
        return self.limits.apply(request, Situation(now_ns, seconds, pose, self.echoes.gap, standstill))

    def wheel_speeds(self, allowed: Allowed, track: float) -> tuple[float, float]:
        """Return the two sides' speeds (m/s); both are scaled down where one would have to be faster than it can."""
        half = 0.5 * allowed.turn_rate * track
        left, right = allowed.speed - half, allowed.speed + half
        fastest = abs(allowed.speed) + abs(half)
        if fastest > self._fastest:
            left, right = left * self._fastest / fastest, right * self._fastest / fastest
        return left, right

    def duties(
        self, speeds: tuple[float, float], measured: tuple[float, float] | None, seconds: float
    ) -> tuple[float, float]:
        """Return the duties (-1 to 1) for the two sides' speeds (m/s).

        ``measured`` are the speeds by the counts of the step, None where none are there, or none to rely on.
        """
        left, right = measured if measured is not None else (None, None)
        return self._left.duty(speeds[0], left, seconds), self._right.duty(speeds[1], right, seconds)
