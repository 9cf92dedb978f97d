"""A tint and a letter for each kind of object: the hue of its lid, and a lightness that no other kind has.

Whoever does not see hues, and a grey print, still has the lightness and the letter.
"""

import colorsys
from collections.abc import Mapping
from dataclasses import dataclass

from rover.report.look import INK, PAPER, Tint, letters
from rover.report.table import Letter

LIGHTEST, DARKEST = 74.0, 27.0
"""CIE L* of the lightest and the darkest tint: both stand out on the paper, and take a letter."""
SATURATION = 0.62
NAMED = {"amber": 45.0, "teal": 180.0, "violet": 262.0}
"""Hues (deg) of kinds in records that do not tell the lids' colours."""
NEXT = 137.5
"""Hues that nothing is known of are so far apart (deg): the golden angle."""


@dataclass(frozen=True)
class Lid:
    """The colour of a kind's lid: its hue (deg), and whether it is too pale to have one."""

    hue: float
    grey: bool = False


def signs_of(kinds: Mapping[str, Lid | None]) -> dict[str, Letter]:
    """Return letter and tint of each kind; None: nothing is known of its lid."""
    letter_of = letters(kinds)
    tint_of = _tints({name: lid or _guessed(name, at) for at, (name, lid) in enumerate(sorted(kinds.items()))})
    return {name: Letter(letter_of[name], tint_of[name]) for name in kinds}


def _guessed(name: str, position: int) -> Lid:
    return Lid(NAMED.get(name, (NAMED["amber"] + NEXT * position) % 360.0))


def _tints(lids: Mapping[str, Lid]) -> dict[str, Tint]:
    """Return a tint for each lid: the lighter, the nearer to yellow it is, which is how one thinks of them."""
    lightest_first = sorted(lids, key=lambda name: (_from_yellow(lids[name]), name))
    step = (LIGHTEST - DARKEST) / max(len(lids) - 1, 1)
    return {name: _tint(lids[name], LIGHTEST - step * at) for at, name in enumerate(lightest_first)}


def _from_yellow(lid: Lid) -> float:
    """Return the angle (deg) between a lid's hue and yellow; grey is halfway to blue."""
    return 90.0 if lid.grey else abs((lid.hue - 60.0 + 180.0) % 360.0 - 180.0)


def _tint(lid: Lid, lightness: float) -> Tint:
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _lightness(_rgb(lid, middle)) < lightness else (low, middle)
    fill = "#" + "".join(f"{round(255 * part):02x}" for part in _rgb(lid, low))
    return Tint(fill, INK if lightness > 55.0 else PAPER)


def _rgb(lid: Lid, level: float) -> tuple[float, float, float]:
    return colorsys.hls_to_rgb(lid.hue / 360.0, level, 0.0 if lid.grey else SATURATION)


def _lightness(rgb: tuple[float, float, float]) -> float:
    """Return CIE L* of a colour. Source: IEC 61966-2-1 (sRGB) and CIE 15, from memory."""
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in rgb)
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return 116.0 * luminance ** (1.0 / 3.0) - 16.0 if luminance > 0.008856 else 903.3 * luminance
