"""From a wanted motion to the duties of the two motor channels, whoever wants it: behaviour, jog or calibration.

What may move, what holds it back and how fast it may change is decided here and nowhere else.
"""

from collections.abc import Mapping
from typing import Any

from rover.devices.readings import RangeValue
from rover.estimate.field import Ground
from rover.estimate.odometry import settling_time
from rover.files.errand import USUAL_WIDTH
from rover.files.robot import Robot
from rover.motion.contact import Contacts
from rover.motion.echo import Echoes
from rover.motion.explored import Explored
from rover.motion.keep_clear import Whereabouts
from rover.motion.limits import NOTHING_MISSING, Allowed, InTheWay, Limits, Missing, Situation
from rover.motion.request import Request
from rover.motion.stall import StallWatch
from rover.motion.wheels import WheelControl

TRIES = 3
"""Where a heading tells whether the robot turns without counts, so many ways out of a jam may be tried without one."""
STOOD = "both sides stood"
USABLE_SHARE = 0.95
"""Wheels are asked for this share of the top speed at most, so that their control has something left."""


class Carriage:
    """The robot's limits, the echoes that they heed, and the control of its wheels.

    Args:
        robot: the robot file.
        ground: the field; None where only the person knows where the floor ends.
        widest: width (m) of the widest thing that the jaws may hold.
        explored: the ground that is known to be free; None where the person looks.
    """

    def __init__(
        self,
        robot: Robot,
        ground: Ground | None = None,
        widest: float = USUAL_WIDTH,
        explored: Explored | None = None,
    ) -> None:
        drive = robot.devices.drive
        self.limits = Limits(robot, ground, widest, explored)
        self.echoes = Echoes(robot)
        self._contacts = Contacts(robot)
        self._stall = StallWatch(1 if robot.devices.heading is None else TRIES)
        settles = settling_time(robot.body.metres_per_count)
        self._left = WheelControl(drive.top_speed, drive.dead_band, settles)
        self._right = WheelControl(drive.top_speed, drive.dead_band, settles)
        self._fastest = USABLE_SHARE * drive.top_speed

    def take(self, device: str, value: Any) -> None:
        """Take in what a device reports; only range finders and bumpers tell of what is in the way."""
        if isinstance(value, RangeValue):
            self.echoes.hear(device, value)
        elif isinstance(value, Mapping):
            self._contacts.feel(device, value)

    def moved(self, left: float, right: float, track: float) -> None:
        """Take in the ways (m) that the two sides went by their counts, on a base that turns as wide as ``track``."""
        self.echoes.moved(0.5 * (left + right), (right - left) / track)
        self._stall.go(left, right)

    def allow(
        self,
        request: Request,
        now_ns: int,
        seconds: float,
        where: Whereabouts | None = None,
        missing: Missing = NOTHING_MISSING,
    ) -> Allowed:
        """Return what the limits leave of a request.

        Args:
            request: what is wanted.
            now_ns: time of the step.
            seconds: since the last one.
            where: where the robot is in the field, if it has one.
            missing: what the want of devices does to the wheels.
        """
        if self._stall.stood and not missing.slowly:
            missing = missing._replace(slowly=STOOD)
        in_the_way = InTheWay(self.echoes.room, self._contacts.found, self._stall.look())
        situation = Situation(now_ns, seconds, where, in_the_way, missing)
        return self.limits.apply(request, situation)

    def stood(self) -> None:
        """Take it that both sides were driven without one count: they have stalled, whatever they were told."""
        self._stall.stand()

    @property
    def why_stop(self) -> str:
        """Why a stop has to latch: what the limits have met, or wheels that nobody knows to turn; or ''."""
        if self._stall.is_for_good:
            return "both sides are driven and not one count comes: wheels or counts stand still"
        return self.limits.why_stop

    def wheel_speeds(self, allowed: Allowed, track: float) -> tuple[float, float]:
        """Return the two sides' speeds (m/s); both are scaled down where one would have to be faster than it can."""
        half = 0.5 * allowed.turn_rate * track
        left, right = allowed.speed - half, allowed.speed + half
        fastest = abs(allowed.speed) + abs(half)
        if fastest > self._fastest:
            left, right = left * self._fastest / fastest, right * self._fastest / fastest
        return left, right

    def duties(
        self, speeds: tuple[float, float], measured: tuple[float | None, float | None], seconds: float
    ) -> tuple[float, float]:
        """Return the duties (-1 to 1) for the two sides' speeds (m/s).

        ``measured`` are their speeds by the counts of the step, None where none are there, or none to rely on.
        """
        self._stall.tell(*speeds, seconds)
        return self._left.duty(speeds[0], measured[0], seconds), self._right.duty(speeds[1], measured[1], seconds)
