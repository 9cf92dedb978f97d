"""Practice on the bench: a robot, a helper with tape and ruler, and the truth that on a real floor nobody knows."""

import math
from collections.abc import Callable, Sequence

from rover.bench.bench import Bench
from rover.bench.draws import drawn, stream
from rover.calibrate.findings import CalibrationError
from rover.calibrate.gripper import opening_at
from rover.calibrate.runs import Geometry
from rover.devices.protocols import DriverContext
from rover.devices.range.keys import EchoPinsKeys
from rover.devices.readings import DriveCommand, JawsCommand, Reading
from rover.files.bench import BenchFile, PlacedObject
from rover.files.bench_effects import OffTheMap
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.quantities import wrap
from rover.session.drivers import Drivers

HALF_FIELD = 10.0
WALL_AT = 5.0
"""The wall of the range calibration, ahead of the start (m)."""
ASIDE = (-8.0, -8.0)
"""Where the jar stands while nobody needs it (m)."""
_TAPE_SIGMA = 0.001


def _practice_errand() -> Errand:
    """Return an errand that is nothing but a square field round a robot, with a wall far ahead of it."""
    low, high = f"{-HALF_FIELD} m", f"{HALF_FIELD} m"
    return Errand.model_validate(
        {
            "errand": "Calibration",
            "files": {"robot": "robot.yaml", "behaviour": "none.yaml"},
            "field": {
                "boundary": [[low, low], [high, low], [high, high], [low, high]],
                "start": {"x": "0 m", "y": "0 m", "heading": "0 rad"},
                "zone": {"x": "0 m", "y": "0 m", "width": "1 m", "depth": "1 m", "marker": ["1.5 m", "0 m"]},
                "walls": {"east": [[f"{WALL_AT} m", low], [f"{WALL_AT} m", high]]},
            },
            "kinds": {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}},
        }
    )


def practice_bench(file: BenchFile, robot: Robot, seed: int) -> Bench:
    """Return a bench for practice: its floor and its devices, with one jar out of the way, no walls, posts and lips.

    All stands where the errand has it: there is no map here that a person measured, only the place itself.

    Raises:
        CalibrationError: the file names a simulation of a person's own.
    """
    if file.simulation is not None:
        raise CalibrationError(f"practice is on the built-in bench, and the bench file names '{file.simulation}'")
    jar = PlacedObject(kind="amber", x=f"{ASIDE[0]} m", y=f"{ASIDE[1]} m")  # type: ignore[arg-type]
    nothing = OffTheMap(start=(0.0, 0.0), turned=(0.0, 0.0), walls=(0.0, 0.0), marker=(0.0, 0.0))
    bare = file.model_copy(
        update={"objects": [jar], "off_the_map": nothing, "scatter": {}, "walls": [], "obstacles": [], "lips": []}
    )
    return Bench(bare, robot, _practice_errand(), seed)


class BenchDrivetrain:
    """The robot on the bench, in simulated time. A driver of a user's own is used as it is.

    Attributes:
        now_ns: simulated time from the start.
        period_s: one step of the robot's loop (s).

    Raises:
        LoadError: a driver that the robot file names cannot be had.
    """

    def __init__(self, bench: Bench) -> None:
        self._bench, robot = bench, bench.robot
        self._period_ns = round(1e9 / robot.loop)
        self.period_s = self._period_ns * 1e-9
        self._lasts_ns = round(robot.limits.command_lasts * 1e9)
        self.now_ns = self._sequence = 0
        self._opening: float | None = None
        self._drivers = Drivers(DriverContext(robot, bench.seed, {}, bench), list(robot.devices.fitted()))

    def step(self, left: float, right: float) -> Sequence[tuple[str, Reading]]:
        """See `rover.calibrate.apparatus.Drivetrain`."""
        self._sequence += 1
        ends_ns = self.now_ns + self._lasts_ns
        self._drivers.tell("drive", DriveCommand(left, right, self._sequence, ends_ns), self.now_ns)
        if self._opening is not None:
            self._drivers.tell("gripper", JawsCommand(self._opening, self._sequence, ends_ns), self.now_ns)
        self.now_ns += self._period_ns
        new = self._drivers.poll(self.now_ns)
        for family, why in self._drivers.faults():
            raise CalibrationError(f"{family}: {why}")
        return new

    def jaws(self, pulse: float) -> None:
        """See `rover.calibrate.apparatus.Drivetrain`."""
        self._opening = opening_at(pulse, self._bench.robot)

    def feedback(self) -> float | None:
        """Return the jaws' opening as the raw number, for a gripper that tells its position."""
        gripper = self._bench.robot.devices.gripper
        return self._bench.jaws_state.opening if gripper is not None and gripper.feedback == "position" else None

    def close(self) -> None:
        """Stop the motors."""
        self._drivers.close()


class BenchAssistant:
    """A helper on the bench who reads a tape to 1 mm (standard deviation) and always looks at what is asked."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._draws = stream(bench.seed, "tape")
        self._mark = bench.pose

    def _taped(self, length: float) -> float:
        return round(length + self._draws.gauss(0.0, _TAPE_SIGMA), 3)

    def ready(self, what: str) -> None:
        """Put the robot back to the middle of the field, as it stands, and mark that."""
        self._bench.x = self._bench.y = 0.0
        self._mark = self._bench.pose

    def _from_mark(self) -> tuple[float, float]:
        pose, mark = self._bench.pose, self._mark
        dx, dy = pose.x - mark.x, pose.y - mark.y
        cosine, sine = math.cos(mark.heading), math.sin(mark.heading)
        return dx * cosine + dy * sine, dy * cosine - dx * sine

    def length(self, expected: float) -> float:
        """Return the tape's length from the mark (m)."""
        return self._taped(math.hypot(*self._from_mark()))

    def return_error(self, side: float) -> tuple[float, float]:
        """Return (m ahead, m left) of the mark."""
        return self.moved()

    def moved(self) -> tuple[float, float]:
        """Return (m ahead, m left) of the mark."""
        ahead, left = self._from_mark()
        return self._taped(ahead), self._taped(left)

    def true_heading(self) -> float:
        """Return the heading in which the robot truly stands (rad)."""
        return self._bench.pose.heading

    def turned_left(self) -> bool:
        """Tell whether the robot stands turned to the left of the mark."""
        return wrap(self._bench.pose.heading - self._mark.heading) > 0.0

    def wall_distance(self, wanted: float) -> float:
        """Put the robot square before the wall; return the ruler's distance from sensor to wall (m)."""
        device = self._bench.robot.devices.range
        ahead = 0.0 if device is None else device.ahead
        self._bench.x, self._bench.y, self._bench.heading = WALL_AT - ahead - wanted, 0.0, 0.0
        return self._taped(wanted)

    def air_temperature(self) -> float:
        """Return what the robot file says: the bench's air is always as warm as that."""
        device = self._bench.robot.devices.range
        usual: float = EchoPinsKeys.model_fields["temperature"].default
        return device.temperature if isinstance(device, EchoPinsKeys) else usual

    def put_object(self) -> None:
        """Put the jar between the jaws."""
        self._move_jar(*self._bench.to_field(self._bench.robot.body.gripper_reach, 0.0))

    def take_object(self) -> None:
        """Take the jar away."""
        self._move_jar(*ASIDE)

    def _move_jar(self, x: float, y: float) -> None:
        self._bench.put(self._bench.pieces[0], x, y)

    def pulse(self, jaws: str, present: float, attempt: Callable[[float], object]) -> float:
        """Try the pulse of the robot file and find it right."""
        attempt(present)
        return present


def true_geometry(bench: Bench) -> Geometry:
    """Return what a perfect drive calibration would find: travel over the floor for one count, slip included."""
    file, robot, seed = bench.file, bench.robot, bench.seed
    slips, counts = stream(seed, "slip"), stream(seed, "counts")
    hold = [1.0 - drawn(file.floor.slip, slips) for _ in range(2)]
    kept = [1.0 - drawn(file.counts.missed, counts) + drawn(file.counts.added, counts) for _ in range(2)]
    left, right = (robot.body.metres_per_count * one / other for one, other in zip(hold, kept, strict=True))
    return Geometry(left, right, robot.body.track * drawn(file.floor.track_factor, stream(seed, "track")))
