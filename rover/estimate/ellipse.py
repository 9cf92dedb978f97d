"""Error ellipses of positions."""

import math

from rover.events import Ellipse

CHI_SQUARE_2_95 = 5.991464547107979
"""95 % quantile of chi-square with two degrees of freedom: -2 ln 0.05."""


def ellipse_95(xx: float, xy: float, yy: float) -> Ellipse:
    """Return the 95 % ellipse of a covariance (m^2): semi-axes are sqrt(chi2 * eigenvalue)."""
    middle, spread = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
    major = math.sqrt(CHI_SQUARE_2_95 * max(0.0, middle + spread))
    minor = math.sqrt(CHI_SQUARE_2_95 * max(0.0, middle - spread))
    return Ellipse(major, minor, 0.5 * math.atan2(2.0 * xy, xx - yy))
