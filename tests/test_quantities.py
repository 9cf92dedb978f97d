import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover import quantities
from rover.quantities import (
    ACCELERATION,
    ANGLE,
    LENGTH,
    NONE,
    SPEED,
    TIME,
    TURN_RATE,
    UNITS,
    VOLTAGE,
    Dimension,
    QuantityError,
    compass_to_field,
    field_to_compass,
    name_of,
    parse,
    parse_as,
    parse_unit,
    symbol_of,
    units_for,
    wrap,
)

REGISTRY = pint.UnitRegistry()
PINT_NAMES = {
    "%": "percent",
    "deg": "degree",
    "in": "inch",
    "degC": "delta_degC",
    "mohm": "milliohm",
    "rev": "revolution",
}
BASE = ("m", "s", "rad", "V", "A", "kg", "delta_degC", "byte")

angles = st.floats(-1e3, 1e3)


def in_pint(text: str) -> pint.Unit:
    """Return the library's unit for one of ours such as ``m/s^2``."""
    numerator, *denominators = [part.replace("^", "**") for part in text.split("/")]
    return REGISTRY.Unit("/".join(PINT_NAMES.get(part, part) for part in (numerator, *denominators)))


@pytest.mark.parametrize("unit", [*UNITS, "m/s", "cm/s", "in/s", "deg/s", "rad/s", "m/s^2", "deg/s^2", "m^2", "cm^2"])
def test_every_unit_means_what_the_unit_library_says(unit: str) -> None:
    dimension, factor = parse_unit(unit)
    base = REGISTRY.dimensionless
    for symbol, power in zip(BASE, dimension, strict=True):
        base *= REGISTRY.Unit(symbol) ** power
    assert factor == pytest.approx(REGISTRY.Quantity(1.0, in_pint(unit)).to(base).magnitude, rel=1e-12)


@pytest.mark.parametrize("dimension", quantities._NAMED)
def test_every_spelling_that_a_message_offers_is_of_its_dimension(dimension: Dimension) -> None:
    for spelling in units_for(dimension).removeprefix("a bare number or ").split(", "):
        assert parse_unit(spelling)[0] == dimension


@pytest.mark.parametrize(
    ("text", "value", "dimension"),
    [
        ("25 cm", 0.25, LENGTH),
        ("10 in", 0.254, LENGTH),
        ("25cm", 0.25, LENGTH),
        ("  40 deg/s ", math.radians(40.0), TURN_RATE),
        ("-3 mm", -0.003, LENGTH),
        ("+.5 m", 0.5, LENGTH),
        ("5. s", 5.0, TIME),
        ("1e3 ms", 1.0, TIME),
        ("11.1 V", 11.1, VOLTAGE),
        ("30 %", 0.3, NONE),
        ("230 deg/s^2", math.radians(230.0), Dimension(angle=1, time=-2)),
        ("1.5 rev", 3.0 * math.pi, ANGLE),
        ("0.5", 0.5, NONE),
    ],
)
def test_a_text_becomes_an_si_number(text: str, value: float, dimension: Dimension) -> None:
    quantity = parse(text)
    assert quantity.value == pytest.approx(value, rel=1e-12)
    assert quantity.dimension == dimension


def test_a_bare_number_is_told_from_a_ratio_of_units() -> None:
    assert not parse("2").has_unit
    assert parse("2 m/m").has_unit
    assert parse("2 m/m").dimension == NONE


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "'' is not a number, with its unit if it has one, such as '25 cm'"),
        ("cm", "'cm' is not a number, with its unit if it has one, such as '25 cm'"),
        (
            "0,6 m",
            "'0,6 m' is not a number, with its unit if it has one, such as '25 cm'; write a decimal point, not a comma",
        ),
        ("nan", "'nan' is not a number, with its unit if it has one, such as '25 cm'"),
        ("1:30", "'1:30' is not a number, with its unit if it has one, such as '25 cm'"),
        ("1_000", "'1_000' is not a number, with its unit if it has one, such as '25 cm'"),
        ("\u0663 cm", "'\u0663 cm' is not a number, with its unit if it has one, such as '25 cm'"),
        ("1e999 m", "'1e999 m' is too large a number"),
        ("3 CM", "'CM' is not a unit; did you mean 'cm'?"),
        ("3 hz", "'hz' is not a unit; did you mean 'Hz'?"),
        ("3 degg", "'degg' is not a unit; did you mean 'deg'?"),
        ("3 m/sec", "'sec' is not a unit"),
        ("3 qqqq", "'qqqq' is not a unit (known: %, m, cm, mm"),
    ],
)
def test_what_is_no_quantity_is_refused_with_what_to_write(text: str, message: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse(text)
    assert str(refused.value).startswith(message)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("15\N{DEGREE SIGN}", "'deg'"),
        ("1900 \N{MICRO SIGN}s", "'us'"),
        ('2.8"', "'in'"),
        ("7\N{NO-BREAK SPACE}cm", "a plain blank"),
        ("\N{MINUS SIGN}5 cm", "a plain '-'"),
    ],
)
def test_what_files_have_for_a_sign_is_said(text: str, plain: str) -> None:
    with pytest.raises(QuantityError, match=re.escape(f"; write {plain}, not ")):
        parse(text)


@pytest.mark.parametrize(
    ("value", "dimension", "message"),
    [
        (25, LENGTH, "a bare number where a length is due; write its unit (m, cm, mm, in), for example '25 m'"),
        ("2.5", SPEED, "a bare number where a speed is due; write its unit (m/s, cm/s, in/s), for example '2.5 m/s'"),
        ("3 s", LENGTH, "'3 s' is a time, but a length is due (m, cm, mm, in)"),
        ("3 m", NONE, "'3 m' is a length, but a plain number is due (a bare number or %)"),
        ("3 V/s", SPEED, "'3 V/s' is a quantity in V/s, but a speed is due (m/s, cm/s, in/s)"),
        (True, TIME, "a time is due here (s, ms, min, h)"),
        (None, TIME, "a time is due here (s, ms, min, h)"),
        ([3], ANGLE, "an angle is due here (deg, rad)"),
    ],
)
def test_another_dimension_than_is_due_is_refused(value: object, dimension: Dimension, message: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_as(value, dimension)
    assert str(refused.value) == message


@pytest.mark.parametrize(("value", "meant"), [(3, 3.0), (0.25, 0.25), ("25 %", 0.25), (1e-7, 1e-7), (1e22, 1e22)])
def test_a_plain_number_needs_no_unit(value: object, meant: float) -> None:
    assert parse_as(value, NONE) == pytest.approx(meant)


@given(value=st.floats(-1e9, 1e9), unit=st.sampled_from(sorted(UNITS)))
def test_what_is_written_is_read_back(value: float, unit: str) -> None:
    dimension, factor = UNITS[unit]
    assert parse_as(f"{value!r} {unit}", dimension) == value * factor


@pytest.mark.parametrize(
    ("dimension", "symbol"),
    [
        (NONE, ""),
        (LENGTH, "m"),
        (SPEED, "m/s"),
        (ACCELERATION, "m/s^2"),
        (quantities.FREQUENCY, "1/s"),
        (Dimension(length=1, voltage=2, time=-1, mass=-2), "m*V^2/s/kg^2"),
    ],
)
def test_a_dimension_has_a_symbol(dimension: Dimension, symbol: str) -> None:
    assert symbol_of(dimension) == symbol


def test_a_dimension_without_a_name_is_told_by_its_symbol() -> None:
    assert name_of(Dimension(length=3)) == "a quantity in m^3"
    assert units_for(Dimension(length=3)) == "m^3"


@given(angles)
def test_a_wrapped_angle_lies_in_the_half_open_turn(angle: float) -> None:
    assert -math.pi <= wrap(angle) < math.pi


@given(angles)
def test_wrapping_does_not_change_the_direction(angle: float) -> None:
    assert math.remainder(wrap(angle) - angle, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-12)


@given(angles)
def test_wrapping_twice_is_wrapping_once(angle: float) -> None:
    assert wrap(wrap(angle)) == pytest.approx(wrap(angle), abs=1e-15)


@given(angles, st.integers(-100, 100))
def test_whole_turns_do_not_count(angle: float, turns: int) -> None:
    difference = wrap(angle + turns * 2.0 * math.pi) - wrap(angle)
    assert math.remainder(difference, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-11)


@given(st.floats(0.0, 360.0, exclude_max=True))
def test_a_compass_heading_survives_the_way_there_and_back(compass_deg: float) -> None:
    back = field_to_compass(compass_to_field(compass_deg))
    assert 0.0 <= back < 360.0
    assert math.remainder(back - compass_deg, 360.0) == pytest.approx(0.0, abs=1e-9)
