"""Speeds towards a point, a heading or a length to go: fast far off, and never faster than can still be stopped."""

import math

from rover.quantities import clamp, wrap


def towards(distance: float, most: float, deceleration: float, least: float = 0.04) -> float:
    """Return a speed (m/s) at which ``distance`` (m) is still enough to stop: v = sqrt(2 a d), between two limits.

    A negative distance gives a negative speed.
    """
    speed = clamp(math.sqrt(2.0 * deceleration * abs(distance)), least, most)
    return math.copysign(speed, distance)


def turning(error: float, most: float, acceleration: float, gain: float = 3.0) -> float:
    """Return a turn rate (rad/s) towards a heading error (rad): proportional near, limited far by the braking way."""
    wanted = min(most, gain * abs(error), math.sqrt(2.0 * 0.5 * acceleration * abs(error)))
    return math.copysign(wanted, error)


def bearing_to(x: float, y: float, heading: float, to_x: float, to_y: float) -> tuple[float, float]:
    """Return (distance in m, bearing in rad, left positive) from a pose to a point."""
    dx, dy = to_x - x, to_y - y
    return math.hypot(dx, dy), wrap(math.atan2(dy, dx) - heading)


def ramped(now: float, wanted: float, up: float, down: float) -> float:
    """Return what ``now`` becomes on the way to ``wanted`` in one step: at most ``up`` faster or ``down`` slower."""
    step = down if abs(wanted) < abs(now) or wanted * now < 0.0 else up
    return now + clamp(wanted - now, -step, step)
