"""The bare loop: the smallest closed loop of the bench's physics, by which the cost of a rehearsal's step is told.

A proportional controller drives the bench's own base (battery, motors, slipping wheels: `rover.bench.motors`) round a
square, ten of the base's steps to one of the loop. No sensors, no behaviour, no limits and no record.
"""

import math
import time

from rover.bench.motors import STEP_NS, Base
from rover.quantities import clamp, wrap

SUBSTEPS = 10
STEPS = 20_000
CORNERS = ((2.0, 0.0), (2.0, 2.0), (0.0, 2.0), (0.0, 0.0))
NEAR, SPEED = 0.1, 0.3


def drive_round(base, body, top_speed):
    """Drive a base round the square for `STEPS` steps of the loop; return how many corners it came to."""
    x = y = heading = 0.0
    now_ns = reached = 0
    for _ in range(STEPS):
        corner_x, corner_y = CORNERS[reached % 4]
        distance, bearing = math.hypot(corner_x - x, corner_y - y), math.atan2(corner_y - y, corner_x - x)
        if distance < NEAR:
            reached += 1
        error = wrap(bearing - heading)
        speed, turn_rate = SPEED * max(0.0, math.cos(error)), clamp(2.0 * error, -1.0, 1.0)
        half = 0.5 * turn_rate * body.track
        base.drive((speed - half) / top_speed, (speed + half) / top_speed, now_ns + 2 * SUBSTEPS * STEP_NS)
        for _ in range(SUBSTEPS):
            way, turn = base.step(now_ns)
            now_ns += STEP_NS
            x += way * math.cos(heading + 0.5 * turn)
            y += way * math.sin(heading + 0.5 * turn)
            heading = wrap(heading + turn)
    return reached


def measure(assembly, seed):
    """Return CPU microseconds a step of the loop, with the base of an errand's robot and bench.

    Raises:
        AssertionError: the robot does not get round.
    """
    robot = assembly.robot
    base = Base(assembly.bench, robot, seed)
    begun = time.process_time()
    reached = drive_round(base, robot.body, robot.devices.drive.top_speed)
    seconds = time.process_time() - begun
    assert reached > 4, "the bare loop is not closed: it does not get round"
    return seconds / STEPS * 1e6
