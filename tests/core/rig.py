"""A robot of the tests' own: a base whose counts and heading tell what a test lets them."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from rover.core.cross_checks import CrossChecks
from rover.devices.readings import HeadingValue
from rover.files.load import load
from rover.files.robot import Robot
from rover.motion.wheels import WheelControl
from rover.quantities import wrap

ROBOT: Robot = load(Path(__file__).parents[2] / "config/cart.yaml", "robot").model
STEP = 0.02
HEADING_EVERY = 3
"""Steps between two headings."""


@dataclass
class Rig:
    """A base with motors that obey their duties at once but for a lag, and sensors that tell of it.

    Attributes:
        counts: what the encoders make of the two sides' ways.
        turns: what the heading sensor makes of angle and rate.
        told: speeds (m/s) that the wheels are told; None: as fast as they are by their counts, which a control sees to.
        dead_band: of the motors in truth.
        unsure: the way (m) by which the pose was made less sure so far.
        is_told: headings come.
        stood: so often both sides should have gone, and not one count came.
        gains: of the motors; ``kept``: shares of the ways that reach the ground.
        bends: the power of duty by which the motors' speed grows: 1 is a line.
        scrubs: how many times as fast a side goes that is driven against the other.
        is_coupled: by the ground: driven the same way, both sides go as fast as each other, however they share it.
    """

    robot: Robot = ROBOT
    counts: tuple[float, float] = (1.0, 1.0)
    turns: Callable[[float, float], HeadingValue] = HeadingValue
    gains: tuple[float, float] = (1.0, 1.0)
    told: tuple[float, float] | None = None
    kept: tuple[float, float] = (1.0, 1.0)
    bends: float = 1.0
    scrubs: float = 1.0
    is_coupled: bool = False
    track_factor: float = 1.5
    noise: float = 0.005
    dead_band: float = ROBOT.devices.drive.dead_band
    unsure: float = 0.0
    stood: int = 0
    is_told: bool = True
    draws: Random = field(default_factory=lambda: Random(1))

    def __post_init__(self) -> None:
        self.checks = CrossChecks(self.robot, math.radians(1.0))
        self.speeds, self.rest = [0.0, 0.0], [0.0, 0.0]
        self.heading = self.rate = self.way = self.turned = 0.0
        self.steps = 0

    def drive(self, left: float, right: float, seconds: float) -> "Rig":
        """Drive with two duties until the time is over or somebody is blamed."""
        for _ in range(round(seconds / STEP)):
            if self.verdict:
                break
            self._step(left, right)
        return self

    def hold(self, left: float, right: float, seconds: float) -> "Rig":
        """Hold two speeds (m/s) until the time is over or somebody is blamed, by the counts that are believed."""
        drive, self.told = self.robot.devices.drive, (left, right)
        controls = [WheelControl(drive.top_speed, drive.dead_band) for _ in (left, right)]
        for _ in range(round(seconds / STEP)):
            if self.verdict:
                break
            lies, sides = self.checks.lying_side, ("left", "right")
            counted = [
                None if lies == side else speed * times
                for side, speed, times in zip(sides, self.speeds, self.counts, strict=True)
            ]
            wanted = zip(controls, (left, right), counted, strict=True)
            self._step(*(control.duty(speed, seen, STEP) for control, speed, seen in wanted))
        return self

    @property
    def verdict(self) -> str:
        """The first device that is doubted, ``stop``, or ''."""
        if self.checks.found:
            return self.checks.found[0].device
        return "stop" if self.checks.why_stop else ""

    def _step(self, *duties: float) -> None:
        drive, body, checks = self.robot.devices.drive, self.robot.body, self.checks
        kept_up = [speed * counted for speed, counted in zip(self.speeds, self.counts, strict=True)]
        checks.drive(duties, tuple(kept_up if self.told is None else self.told), STEP)
        counted, ground = [], []
        mean = 0.5 * (duties[0] + duties[1])
        for side, own in enumerate(duties):
            duty = mean if self.is_coupled and duties[0] * duties[1] > 0.0 else own
            share = max(0.0, abs(duty) - self.dead_band) / (1.0 - self.dead_band)
            goal = math.copysign(share**self.bends, duty) * drive.top_speed * self.gains[side]
            goal *= self.scrubs if duties[0] * duties[1] < 0.0 else 1.0
            self.speeds[side] += (goal - self.speeds[side]) * STEP / 0.1
            way = self.speeds[side] * STEP
            exact = way * self.counts[side] / body.metres_per_count + self.rest[side]
            self.rest[side] = exact - round(exact)
            counted.append(round(exact) * body.metres_per_count)
            ground.append(way * self.kept[side])
        self.rate = (ground[1] - ground[0]) / (body.track * self.track_factor) / STEP
        self.heading += self.rate * STEP
        self.way += 0.5 * abs(ground[0] + ground[1])
        self.turned += abs(self.rate) * STEP
        left_open = checks.count(*counted, STEP)
        self.unsure += left_open.way
        self.stood += left_open.stood
        self.steps += 1
        if self.steps % HEADING_EVERY == 0 and self.is_told:
            angle = wrap(self.heading + self.draws.gauss(0.0, self.noise))
            told = self.turns(angle, self.rate + self.draws.gauss(0.0, self.noise))
            checks.tell(told, round(self.steps * STEP * 1e9))


STRAIGHT, SPIN, ARC = (0.5, 0.5), (-0.45, 0.45), (0.35, 0.65)
WAYS = {"straight": STRAIGHT, "spin": SPIN, "arc": ARC}
