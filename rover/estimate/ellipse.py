"""Error ellipses of positions, and the chance that something lies inside a zone."""

import math

from rover.events import Ellipse
from rover.files.errand import Zone

CHI_SQUARE_2_95 = 5.991464547107979
"""95 % quantile of chi-square with two degrees of freedom: -2 ln 0.05."""


def ellipse_95(xx: float, xy: float, yy: float) -> Ellipse:
    """Return the 95 % ellipse of a covariance (m^2): semi-axes are sqrt(chi2 * eigenvalue)."""
    middle, spread = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
    major = math.sqrt(CHI_SQUARE_2_95 * max(0.0, middle + spread))
    minor = math.sqrt(CHI_SQUARE_2_95 * max(0.0, middle - spread))
    return Ellipse(major, minor, 0.5 * math.atan2(2.0 * xy, xx - yy))


def chance_inside(place: tuple[float, float], variances: tuple[float, float], zone: Zone, object_width: float) -> float:
    """Return the chance that an object lies wholly inside an axis-parallel zone.

    It does while the larger of its two axis errors stays below half the zone less half the object (common practice,
    no source); the two axes are taken as independent.

    Args:
        place: where its middle is believed to be (m).
        variances: of x and y (m^2).
        zone: the tray.
        object_width: its diameter (m).
    """
    across = _chance_between(place[0] - zone.x, variances[0], 0.5 * (zone.width - object_width))
    return across * _chance_between(place[1] - zone.y, variances[1], 0.5 * (zone.depth - object_width))


def _chance_between(offset: float, variance: float, half: float) -> float:
    """Return the chance that a normal variable of mean ``offset`` lies between -half and half."""
    if variance <= 0.0:
        return 1.0 if abs(offset) <= half else 0.0
    scale = math.sqrt(2.0 * variance)
    return max(0.0, 0.5 * (math.erf((half - offset) / scale) + math.erf((half + offset) / scale)))
