"""The base of the robot: battery, motors, wheels on the floor, and encoders."""

import math

from rover.bench.draws import NEVER_NS, Episodes, drawn, stream
from rover.devices.battery.keys import BatteryKeys
from rover.devices.keys import SIMULATED
from rover.files.bench import BenchFile
from rover.files.fault_table import RobotFault
from rover.files.robot import Body, Robot
from rover.quantities import clamp

STEP_NS = 10_000_000
STEP = 0.01
# Open-circuit voltage of an empty battery as a share of the full one: 3.3 V to 4.2 V for a lithium cell.
EMPTY = 0.78
# Below this wheel speed (m/s) a motor without duty has come to rest: friction takes the tail of the exponential.
AT_REST = 1e-4
# The battery gives up its charge in portions of so many steps.
DRAIN_EVERY = 10


class PowerSupply:
    """A battery whose voltage sags under load (inner resistance) and falls with the charge taken out of it."""

    def __init__(self, file: BenchFile, robot: Robot, seed: int) -> None:
        battery = robot.devices.battery or BatteryKeys.model_validate({"driver": SIMULATED})
        draws = stream(seed, "battery")
        self.full, self.load_at_full_duty = battery.full, battery.load_at_full_duty
        self.charge = drawn(file.battery.charge, draws)
        self._ampere_seconds = drawn(file.battery.lasts, draws) * max(battery.load_at_full_duty, 0.1)
        self._resistance = battery.inner_resistance * drawn(file.battery.resistance_factor, draws)
        self.amps = self.idle = file.battery.idle
        self.lost = 0.0

    def load(self, left: float, right: float) -> None:
        """Set the load by the two duties."""
        self.amps = self.idle + self.load_at_full_duty * (abs(left) + abs(right)) / 2.0

    def drain(self, seconds: float) -> None:
        """Take the charge of some time under the present load."""
        charge = self.charge - self.amps * seconds / self._ampere_seconds
        self.charge = charge if charge > 0.0 else 0.0

    @property
    def share(self) -> float:
        """Terminal voltage under the present load as a share of the full battery's open-circuit voltage."""
        return EMPTY + (1.0 - EMPTY) * self.charge - self.sag / self.full

    @property
    def sag(self) -> float:
        """Voltage (V) lost in the inner resistance under the present load, and to what is wrong with the battery."""
        return self._resistance * self.amps + self.lost

    @property
    def volts(self) -> float:
        """Terminal voltage (V) under the present load."""
        return self.full * (EMPTY + (1.0 - EMPTY) * self.charge) - self.sag


class Base:
    """Two motor channels with dead band and first-order lag, driving wheels that slip on a skid-steer base.

    Attributes:
        left_travel, right_travel: what the wheels have rolled (m), slip included: this is what encoders see.
        duties: of the two sides (-1 to 1).
        speed, turn_rate: of the body over the last step (m/s, rad/s).
    """

    def __init__(self, file: BenchFile, robot: Robot, seed: int) -> None:
        draws = stream(seed, "motors")
        half = drawn(file.motors.mismatch, draws) / 2.0 * draws.choice((-1.0, 1.0))
        top = robot.devices.drive.top_speed
        self._gain = self._healthy = (top * (1.0 + half), top * (1.0 - half))
        self._hold = (1.0, 1.0)
        self._dead_band = (drawn(file.motors.dead_band, draws), drawn(file.motors.dead_band, draws))
        self._response = 1.0 - math.exp(-STEP / drawn(file.motors.lag, draws))
        self._track = robot.body.track * drawn(file.floor.track_factor, stream(seed, "track"))
        self._slip_draws = stream(seed, "slip")
        left, right = drawn(file.floor.slip, self._slip_draws), drawn(file.floor.slip, self._slip_draws)
        self._kept = self._kept_now = self._kept_steadily = (1.0 - left, 1.0 - right)
        self._slip_burst = file.floor.slip_burst
        self._slips = Episodes(file.floor.slip_every, file.floor.slip_lasts, stream(seed, "slip bursts"))
        self._slip_changes_ns = 0
        self.supply = PowerSupply(file, robot, seed)
        self._left_target = self._right_target = 0.0
        self.duties = (0.0, 0.0)
        self._expires_ns = self._steps = 0
        self.left_speed = self.right_speed = self.left_travel = self.right_travel = 0.0
        self.speed = self._last_speed = self.turn_rate = 0.0

    def drive(self, left: float, right: float, expires_ns: int) -> None:
        """Set the duties (-1 to 1); from ``expires_ns`` on they are zero."""
        self._expires_ns = expires_ns
        if (left, right) == self.duties:
            return
        self.duties = (left, right)
        left, right = clamp(left, -1.0, 1.0), clamp(right, -1.0, 1.0)
        self.supply.load(left, right)
        share = self.supply.share
        self._left_target = self._gain[0] * _past(left, self._dead_band[0]) * share
        self._right_target = self._gain[1] * _past(right, self._dead_band[1]) * share

    def suffer(self, wrong: RobotFault) -> None:
        """Go on with what is wrong with motors, wheels and battery from now on, and nothing else."""
        left, right = self._healthy
        self._gain = left * wrong.left_motor, right * wrong.right_motor
        self._hold = wrong.left_wheels, wrong.right_wheels
        self._kept = self._kept_now[0] * self._hold[0], self._kept_now[1] * self._hold[1]
        self.supply.lost = wrong.sag
        duties, self.duties = self.duties, (math.nan, math.nan)
        self.drive(*duties, self._expires_ns)

    def step(self, begins_ns: int) -> tuple[float, float]:
        """Run the motors for one step; return the body's way (m) and turn (rad) in it."""
        self._steps += 1
        if self._steps == DRAIN_EVERY:
            self._steps = 0
            self.supply.drain(DRAIN_EVERY * STEP)
        if begins_ns >= self._expires_ns:
            self.drive(0.0, 0.0, NEVER_NS)
        left, right = self._left_target, self._right_target
        idle = left == right == 0.0
        if idle and self.left_speed == self.right_speed == 0.0:
            self.speed = self._last_speed = self.turn_rate = 0.0
            return 0.0, 0.0
        if begins_ns >= self._slip_changes_ns:
            self._change_slip(begins_ns)
        left = self.left_speed + (left - self.left_speed) * self._response
        right = self.right_speed + (right - self.right_speed) * self._response
        if idle and -AT_REST < left < AT_REST and -AT_REST < right < AT_REST:
            left = right = 0.0
        self.left_speed, self.right_speed = left, right
        self.left_travel += left * STEP
        self.right_travel += right * STEP
        left *= self._kept[0]
        right *= self._kept[1]
        speed = 0.5 * (left + right)
        self._last_speed, self.speed = self.speed, speed
        self.turn_rate = (right - left) / self._track
        return speed * STEP, self.turn_rate * STEP

    @property
    def acceleration(self) -> float:
        """Acceleration of the body in the last step (m/s^2), forwards positive."""
        return (self.speed - self._last_speed) / STEP

    def jolt(self) -> None:
        """Lose half the speed at once."""
        self.left_speed *= 0.5
        self.right_speed *= 0.5
        self.speed *= 0.5

    def block(self) -> None:
        """Stall the motors in the step just made: the body stands against something that does not give way."""
        self.left_travel -= self.left_speed * STEP
        self.right_travel -= self.right_speed * STEP
        self.left_speed = self.right_speed = self.speed = self._last_speed = self.turn_rate = 0.0

    def _change_slip(self, now_ns: int) -> None:
        is_slipping = self._slips.on(now_ns)
        self._slip_changes_ns = self._slips.ends_ns if is_slipping else self._slips.begins_ns
        left, right = self._kept_steadily
        if is_slipping:
            burst = drawn(self._slip_burst, self._slip_draws)
            left, right = (1.0 - burst, right) if self._slip_draws.random() < 0.5 else (left, 1.0 - burst)
        self._kept_now = left, right
        self._kept = left * self._hold[0], right * self._hold[1]


def _past(duty: float, dead_band: float) -> float:
    """Return the share of top speed for a duty: zero inside the dead band, 1 at full duty."""
    if duty > dead_band:
        return (duty - dead_band) / (1.0 - dead_band)
    if duty < -dead_band:
        return (duty + dead_band) / (1.0 - dead_band)
    return 0.0


class Encoder:
    """Counts one side's travel, missing some counts and adding others, at random places along the way."""

    def __init__(self, missed: float, added: float, per_metre: float, seed_name: tuple[int, str]) -> None:
        self._draws = stream(*seed_name)
        self._per_metre = self._healthy = per_metre
        self._error_share = missed + added
        self._missed_share = missed / self._error_share if self._error_share else 0.0
        self._seen = self._total = 0.0
        self._to_next = self._gap()

    def _gap(self) -> float:
        return self._draws.expovariate(self._error_share) if self._error_share else math.inf

    def absorb(self, travel: float) -> int:
        """Return the count after ``travel`` metres in all since the start."""
        if travel == self._seen:
            return math.floor(self._total)
        moved = (travel - self._seen) * self._per_metre
        self._seen = travel
        self._total += moved
        self._to_next -= abs(moved)
        while self._to_next < 0.0:
            error = -1.0 if self._draws.random() < self._missed_share else 1.0
            self._total += math.copysign(error, error * moved)
            self._to_next += self._gap()
        return math.floor(self._total)

    def suffer(self, factor: float, travel: float) -> None:
        """Count so many times what the wheels do after ``travel`` metres in all: 0 nothing, -1 the other way."""
        self.absorb(travel)
        self._per_metre = self._healthy * factor

    def restart(self, travel: float) -> None:
        """Count from zero after ``travel`` metres in all."""
        self._seen, self._total = travel, 0.0

    def jump(self, counts: int) -> None:
        """Add counts that no wheel has made."""
        self._total += counts


def encoders(file: BenchFile, body: Body, seed: int) -> tuple[Encoder, Encoder]:
    """Return the left and the right encoder, each with error shares of its own."""
    draws = stream(seed, "counts")

    def make(side: str) -> Encoder:
        missed, added = drawn(file.counts.missed, draws), drawn(file.counts.added, draws)
        return Encoder(missed, added, 1.0 / body.metres_per_count, (seed, f"counts {side}"))

    return make("left"), make("right")
