"""The square path driven both ways: what its return errors say about the wheels and the track. Pure.

Source: J. Borenstein and L. Feng, Measurement and correction of systematic odometry errors in mobile robots,
IEEE Transactions on Robotics and Automation 12(6), 1996, 869-880. The square begins at (0, 0) along +x; a return
error is the true place less the one the odometry gives. The method holds for small errors only, so it is repeated on
what it leaves (`rover.calibrate.drive`).
"""

import math
from typing import NamedTuple


class SquareCorrection(NamedTuple):
    """What a square says.

    Attributes:
        alpha: rad by which a quarter turn falls short of what the odometry makes of it (a wrong track).
        beta: rad by which a straight side is bent (unequal wheels).
        track: true over assumed track (E_b).
        wheels: true over assumed ratio of the right wheel's travel for one count to the left one's (E_d).
    """

    alpha: float
    beta: float
    track: float
    wheels: float


def correction(x_clockwise: float, x_counter_clockwise: float, side: float, track: float) -> SquareCorrection:
    """Return what the mean return errors along x (m) of a square with a ``side`` (m) say of a base with a ``track``.

    The track is the one in use, in which wheel travel and heading change are related (m).

    Raises:
        ValueError: the errors are so large that the formulas mean nothing.
    """
    alpha = (x_clockwise + x_counter_clockwise) / (-4.0 * side)
    beta = (x_clockwise - x_counter_clockwise) / (-4.0 * side)
    if abs(alpha) > math.pi / 4.0 or abs(beta) > math.pi / 4.0:
        raise ValueError("the return errors are too large for the square-path method")
    wheels = 1.0
    if abs(beta) > 1e-12:
        radius = (side / 2.0) / math.sin(beta / 2.0)
        wheels = (radius + track / 2.0) / (radius - track / 2.0)
    return SquareCorrection(alpha, beta, (math.pi / 2.0) / (math.pi / 2.0 - alpha), wheels)


def wheel_scales(ratio: float) -> tuple[float, float]:
    """Return the factors (c_L, c_R) of the left and the right counts for a ratio of right to left; their sum is 2."""
    return 2.0 / (ratio + 1.0), 2.0 / (1.0 / ratio + 1.0)
