"""The one place where units are parsed: ``'10 in'``, ``'40 deg/s'`` -> SI floats.

Inside the program every number is SI: metres, seconds, radians, volts, amperes. Files and the command
line write a number with its unit. The table is small data of our own; `tests/test_quantities.py` holds
every entry against the `pint` library, which is too slow to start (0.3 s) to be used at run time.
"""

import math
import re
from typing import NamedTuple

from rover.errors import UserError


class Dimension(NamedTuple):
    """Exponents of the base quantities. Angle is a dimension here, so that 3 rad cannot pass for 3."""

    length: int = 0
    time: int = 0
    angle: int = 0
    voltage: int = 0
    current: int = 0
    mass: int = 0
    temperature: int = 0
    data: int = 0

    def times(self, other: "Dimension", power: int = 1) -> "Dimension":
        """Return the dimension of ``self * other**power``."""
        return Dimension(*(mine + power * theirs for mine, theirs in zip(self, other, strict=True)))


NONE = Dimension()
LENGTH = Dimension(length=1)
TIME = Dimension(time=1)
ANGLE = Dimension(angle=1)
VOLTAGE = Dimension(voltage=1)
CURRENT = Dimension(current=1)
MASS = Dimension(mass=1)
TEMPERATURE = Dimension(temperature=1)
DATA = Dimension(data=1)
FREQUENCY = Dimension(time=-1)
SPEED = Dimension(length=1, time=-1)
TURN_RATE = Dimension(angle=1, time=-1)
ACCELERATION = Dimension(length=1, time=-2)
TURN_ACCELERATION = Dimension(angle=1, time=-2)
RESISTANCE = Dimension(voltage=1, current=-1)
AREA = Dimension(length=2)

# unit -> (dimension, factor to SI). Degrees Celsius stay Celsius: only differences and air formulas use them.
UNITS: dict[str, tuple[Dimension, float]] = {
    "%": (NONE, 0.01),
    "m": (LENGTH, 1.0),
    "cm": (LENGTH, 0.01),
    "mm": (LENGTH, 0.001),
    "km": (LENGTH, 1000.0),
    "in": (LENGTH, 0.0254),
    "ft": (LENGTH, 0.3048),
    "s": (TIME, 1.0),
    "ms": (TIME, 1e-3),
    "us": (TIME, 1e-6),
    "min": (TIME, 60.0),
    "h": (TIME, 3600.0),
    "rad": (ANGLE, 1.0),
    "deg": (ANGLE, math.pi / 180.0),
    "turn": (ANGLE, 2.0 * math.pi),
    "rev": (ANGLE, 2.0 * math.pi),
    "V": (VOLTAGE, 1.0),
    "mV": (VOLTAGE, 1e-3),
    "A": (CURRENT, 1.0),
    "mA": (CURRENT, 1e-3),
    "g": (MASS, 1e-3),
    "kg": (MASS, 1.0),
    "degC": (TEMPERATURE, 1.0),
    "Hz": (FREQUENCY, 1.0),
    "kHz": (FREQUENCY, 1000.0),
    "rpm": (TURN_RATE, 2.0 * math.pi / 60.0),
    "ohm": (RESISTANCE, 1.0),
    "mohm": (RESISTANCE, 1e-3),
    "kB": (DATA, 1e3),
    "MB": (DATA, 1e6),
    "GB": (DATA, 1e9),
}

# dimension -> (its name, the units a person would write it with)
_NAMED = {
    NONE: ("a plain number", "a bare number or %"),
    LENGTH: ("a length", "m, cm, mm, in"),
    TIME: ("a time", "s, ms, min, h"),
    ANGLE: ("an angle", "deg, rad"),
    VOLTAGE: ("a voltage", "V, mV"),
    CURRENT: ("a current", "A, mA"),
    MASS: ("a mass", "g, kg"),
    TEMPERATURE: ("a temperature", "degC"),
    FREQUENCY: ("a frequency", "Hz"),
    SPEED: ("a speed", "m/s, cm/s, in/s"),
    TURN_RATE: ("a turn rate", "deg/s, rad/s, rpm"),
    ACCELERATION: ("an acceleration", "m/s^2, cm/s^2"),
    TURN_ACCELERATION: ("a turn acceleration", "deg/s^2, rad/s^2"),
    RESISTANCE: ("a resistance", "ohm, mohm"),
    AREA: ("an area", "m^2, cm^2"),
    DATA: ("an amount of data", "MB, GB"),
}

_BASE_SYMBOLS = ("m", "s", "rad", "V", "A", "kg", "degC", "B")
UNSIGNED = r"(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
UNIT_PATTERN = r"%|[A-Za-z]+(?:\^\d)?(?:/[A-Za-z]+(?:\^\d)?)*"
_QUANTITY = re.compile(rf"\s*([-+]?{UNSIGNED})\s*({UNIT_PATTERN})?\s*", re.ASCII)


class QuantityError(UserError, ValueError):
    """A text that is not the quantity that was due; the message says what to write instead."""


class UnknownUnitError(QuantityError):
    """What stands behind a number is no unit."""


class Quantity(NamedTuple):
    """A number in SI units with its dimension. ``has_unit`` tells ``2`` from ``2 m/m``: files need it."""

    value: float
    dimension: Dimension
    has_unit: bool


def name_of(dimension: Dimension) -> str:
    """Return 'a length', 'a speed', or the product of base units for a dimension without a name."""
    return _NAMED[dimension][0] if dimension in _NAMED else f"a quantity in {symbol_of(dimension)}"


def symbol_of(dimension: Dimension) -> str:
    """Return the SI symbol of a dimension, such as ``m/s^2``; empty for a plain number."""
    parts = [(symbol, power) for symbol, power in zip(_BASE_SYMBOLS, dimension, strict=True) if power]
    over = [symbol + (f"^{power}" if power > 1 else "") for symbol, power in parts if power > 0]
    under = [symbol + (f"^{-power}" if power < -1 else "") for symbol, power in parts if power < 0]
    return "/".join(["*".join(over) or ("1" if under else ""), *under])


def units_for(dimension: Dimension) -> str:
    """Return the spellings a person would use for a dimension, for error messages."""
    return _NAMED[dimension][1] if dimension in _NAMED else symbol_of(dimension)


SIGNS = {
    "\N{DEGREE SIGN}": "'deg'",
    "\N{MICRO SIGN}s": "'us'",
    "\N{GREEK SMALL LETTER MU}s": "'us'",
    '"': "'in'",
    "\N{DOUBLE PRIME}": "'in'",
    "\N{MINUS SIGN}": "a plain '-'",
    "\N{NO-BREAK SPACE}": "a plain blank",
    "\N{NARROW NO-BREAK SPACE}": "a plain blank",
}
"""Signs that people write, or paste, and what a file has for them."""


def parse_unit(text: str) -> tuple[Dimension, float]:
    """Return (dimension, factor to SI) of a unit such as ``cm``, ``deg/s`` or ``m/s^2``.

    Raises:
        QuantityError: a part of it is not in the table.
    """
    dimension, factor = NONE, 1.0
    for position, part in enumerate(text.split("/")):
        name, _, power_text = part.partition("^")
        power = int(power_text or 1) * (1 if position == 0 else -1)
        if name not in UNITS:
            raise UnknownUnitError(f"'{name}' is not a unit{_unit_hint(name)}")
        base, base_factor = UNITS[name]
        dimension = dimension.times(base, power)
        factor *= base_factor**power
    return dimension, factor


def _unit_hint(name: str) -> str:
    import difflib

    same_letters = [unit for unit in UNITS if unit.lower() == name.lower()]
    near = same_letters or difflib.get_close_matches(name, UNITS, 1, 0.5)
    return f"; did you mean '{near[0]}'?" if near else f" (known: {', '.join(UNITS)})"


def _sign_hint(text: str) -> str:
    """Return the cure for a sign that people write and files do not have; '' where there is none."""
    if "," in text:
        return "; write a decimal point, not a comma"
    if clock := re.fullmatch(r"(\d+):(\d\d)", text.strip()):
        return f"; write one number: '{60 * int(clock[1]) + int(clock[2])} s' if minutes and seconds are meant"
    return next((f"; write {plain}, not '{sign}'" for sign, plain in SIGNS.items() if sign in text), "")


def parse(text: str) -> Quantity:
    """Return the quantity that a text such as ``'25 cm'`` means.

    Raises:
        QuantityError: not a finite number with a known unit or without one.
    """
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise QuantityError(f"'{text}' is not a number, with its unit if it has one, such as '25 cm'{_sign_hint(text)}")
    number, unit = match.groups()
    dimension, factor = parse_unit(unit) if unit else (NONE, 1.0)
    value = float(number) * factor
    if not math.isfinite(value):
        raise QuantityError(f"'{text}' is too large a number")
    return Quantity(value, dimension, unit is not None)


def parse_as(value: object, dimension: Dimension) -> float:
    """Return ``value`` (a text or a bare number out of a file) in SI units of the dimension that is due.

    Raises:
        QuantityError: another dimension, a bare number where a unit is due, or no number at all.
    """
    due, units = name_of(dimension), units_for(dimension)
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise QuantityError(f"{due} is due here ({units})")
    try:
        quantity = parse(value if isinstance(value, str) else repr(value))
    except UnknownUnitError as error:
        raise QuantityError(f"{due} is due here ({units}), and {error}" if units else str(error)) from None
    if dimension != NONE and not quantity.has_unit:
        example = f"{value} {units.split(',')[0]}"
        raise QuantityError(f"a bare number where {due} is due; write its unit ({units}), for example '{example}'")
    if quantity.dimension != dimension:
        raise QuantityError(f"'{value}' is {name_of(quantity.dimension)}, but {due} is due ({units})")
    return quantity.value


def si(text: str) -> float:
    """Return a constant of the program in SI units, written with its unit as in a file: ``si("12 cm")``.

    Raises:
        QuantityError: it is no quantity.
    """
    return parse(text).value


def clamp(value: float, low: float, high: float) -> float:
    """Return ``value`` brought into [low, high]; what is not a number stays that."""
    return low if value < low else high if value > high else value


def must_be_finite(*values: float) -> None:
    """Raise unless all are finite numbers; what is compared with NaN comes out false, so that clipping lets it through.

    Raises:
        ValueError: one is not.
    """
    for value in values:
        if not math.isfinite(value):
            raise ValueError(f"{value} is commanded; the command is not carried out")


def wrap(angle: float) -> float:
    """Return ``angle`` (rad) brought into [-pi, pi); +pi becomes -pi."""
    if -math.pi <= angle < math.pi:
        return angle
    wrapped = math.fmod(angle + math.pi, 2.0 * math.pi)
    return wrapped - math.pi if wrapped >= 0.0 else wrapped + math.pi


def compass_to_field(compass_deg: float) -> float:
    """Return the field heading (rad, counter-clockwise, 0 is east) of a compass heading (deg, clockwise from north)."""
    return wrap(math.radians(90.0 - compass_deg))


def field_to_compass(heading: float) -> float:
    """Return the compass heading (deg in [0, 360), clockwise from north) of a field heading (rad)."""
    return (90.0 - math.degrees(heading)) % 360.0
