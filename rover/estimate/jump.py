"""A lasting jump of the heading sensor's angle: the robot was turned, or the sensor errs otherwise than it did."""

import math

SENSOR_JUMPS = math.radians(5.0)
"""Standard deviation of a jump of the sensor's error: steel moved near by (common practice, no source)."""
TURNED_UNTOLD, TURNED_THOUGH_TOLD = 0.5, 0.1
"""How likely it is, before the jump's size is looked at, that the robot was turned, by hand or by a slip; a turn rate
would have told of it."""
ASTRAY = 0.1
"""How likely it is that the sensor went astray by any angle: knocked, restarted, or beside a magnet. With a turn rate
that tells of no turn, this is as likely as that: nobody knows, and the heading is as unsure as the jump is wide."""


def turned_share(jump: float, bias: float, *, is_told: bool) -> float:
    """Return how likely it is that a jump of the angle (rad) is one of the robot, by Bayes' rule.

    A robot is turned by any angle, and so is a sensor that goes astray; its error else jumps by little. Who takes such
    a share of the jump, with the variance of an error that is all or nothing, has the mean and variance of the mixture
    of both (Y. Bar-Shalom, X. R. Li and T. Kirubarajan, "Estimation with Applications to Tracking and Navigation",
    2001, on Gaussian mixtures; from memory).

    Args:
        jump: rad.
        bias: standard deviation of the sensor's error at a place (rad).
        is_told: whether a turn rate tells that the robot was not turned.
    """
    turned, spread = TURNED_THOUGH_TOLD if is_told else TURNED_UNTOLD, math.hypot(SENSOR_JUMPS, bias)
    as_turned, as_astray = turned / math.tau, ASTRAY / math.tau
    as_error = (1.0 - turned - ASTRAY) * math.exp(-0.5 * (jump / spread) ** 2) / (math.sqrt(math.tau) * spread)
    return as_turned / (as_turned + as_astray + as_error)
