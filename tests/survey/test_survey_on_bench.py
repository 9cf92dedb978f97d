"""A floor is driven over on the bench by somebody who sees the robot, as it truly stands; marks lead to its corners."""

import math
from pathlib import Path

import pytest

from rover.bench.bench import Bench
from rover.calibrate.practice import BenchDrivetrain
from rover.files import load
from rover.readiness.files import check_file
from rover.session.by_hand import TimedReading
from rover.survey.by_hand import Surveyor
from rover.survey.errand_text import field_block, new_errand

ROOT = Path(__file__).parents[2]
CONFIG = ROOT / "config"
XY = tuple[float, float]
WITHIN_M = 0.10


class Driver:
    """Drives the bench's robot as a person does who sees it: turns to a place, goes there."""

    def __init__(self, seed: int) -> None:
        errand = load.load(CONFIG / "greenhouse.yaml", "errand").model
        robot = load.load(CONFIG / "cart.yaml", "robot").model
        bench = load.load(CONFIG / "mild.yaml", "bench").model.model_copy(update={"scatter": {}})
        self.bench = Bench(bench, robot, errand, seed)
        self.train = BenchDrivetrain(self.bench)
        self.said: list[str] = []
        self.surveyor = Surveyor(robot, self.said.append)
        self.errand, self.robot = errand, robot

    def step(self, left: float, right: float) -> None:
        new = self.train.step(left, right)
        self.bench.advance(self.train.now_ns)
        self.surveyor.heard([TimedReading(self.train.now_ns, *each) for each in new])

    def rest(self) -> None:
        for _ in range(40):
            self.step(0.0, 0.0)

    def turn(self, heading: float) -> None:
        while abs(off := math.remainder(heading - self.bench.pose.heading, math.tau)) > math.radians(2):
            duty = math.copysign(0.35, off)
            self.step(-duty, duty)
        self.rest()

    def go(self, x: float, y: float) -> None:
        pose = self.bench.pose
        self.turn(math.atan2(y - pose.y, x - pose.x))
        while math.dist((pose.x, pose.y), (x, y)) > 0.05:
            off = math.remainder(math.atan2(y - pose.y, x - pose.x) - pose.heading, math.tau)
            self.step(0.4 - 0.3 * off, 0.4 + 0.3 * off)
            pose = self.bench.pose
        self.rest()

    def mark(self, letters: str) -> None:
        self.surveyor.typed(letters.encode())


@pytest.mark.parametrize("seed", [1, 2])
def test_the_corners_of_a_walled_bay_are_found_to_ten_centimetres(seed, tmp_path):
    """They are ranged to from three places amid the floor, all round: that drives little, and so errs little."""
    driver = Driver(seed)
    start = driver.bench.pose
    driver.rest()
    for place in ((2.3, 2.6), (3.0, 1.2), (3.7, 2.6)):
        driver.go(*place)
        for heading in (-90.0, 0.0, 90.0, 180.0):
            driver.turn(math.radians(heading))
            driver.mark("B")
    assert [line for line in driver.said if "wall" not in line] == []
    floor = driver.surveyor.floor()
    assert set(floor.walls) == {"south", "east", "north", "west"}
    truth = [(6.0, 0.0), (6.0, 4.0), (0.0, 4.0), (0.0, 0.0), (start.x, start.y)]
    found = [*(corner.xy for corner in floor.boundary), (driver.surveyor.start.x, driver.surveyor.start.y)]
    assert len(found) == len(truth)
    turn, errors = fitted(found, truth)
    assert max(errors) < WITHIN_M
    assert abs(math.remainder(driver.surveyor.start.heading + turn - start.heading, math.tau)) < math.radians(4)
    errand = tmp_path / "surveyed.yaml"
    (tmp_path / "cart.yaml").write_text((CONFIG / "cart.yaml").read_text("utf-8"), encoding="utf-8")
    block = field_block(floor, driver.surveyor.start, "1 May 2026")
    errand.write_text(new_errand(block, driver.robot, "cart.yaml"), encoding="utf-8")
    check_file(errand)


def fitted(found: list[XY], truth: list[XY]) -> tuple[float, list[float]]:
    """Return by how much (rad) a floor is to be turned to lie on the true one, and how far (m) each point then is off.

    Origin and axes of a field are wherever its file puts them, so what counts is the shape, the start in it included.
    The turn is that of least squares (P. Schoenemann, 1966, in two dimensions).
    """
    (fx, fy), (tx, ty) = (
        tuple(sum(axis) / len(points) for axis in zip(*points, strict=True)) for points in (found, truth)
    )
    pairs = [(x - fx, y - fy, u - tx, v - ty) for (x, y), (u, v) in zip(found, truth, strict=True)]
    turn = math.atan2(sum(x * v - y * u for x, y, u, v in pairs), sum(x * u + y * v for x, y, u, v in pairs))
    c, s = math.cos(turn), math.sin(turn)
    return turn, [math.hypot(x * c - y * s - u, x * s + y * c - v) for x, y, u, v in pairs]
