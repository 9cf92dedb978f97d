"""Numbers that a machine of this kind can have, by key: what lies outside is a slip of the unit or of a digit.

Common practice, no source, and generous: whoever needs more widens a row here.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

from rover.files.yaml_source import KeyPath, Source
from rover.quantities import QuantityError, parse

ANY = "*"
"""In a key, stands for every name or number of a list."""


class Bounds(NamedTuple):
    """The least and the most that a value may be, as in a file."""

    least: str
    most: str


BOUNDS: dict[str, dict[str, Bounds]] = {
    "robot": {
        "loop": Bounds("5 Hz", "200 Hz"),
        "body.wheel_diameter": Bounds("1 cm", "1 m"),
        "body.track": Bounds("3 cm", "3 m"),
        "body.counts_per_rev": Bounds("4", "1000000"),
        "body.gripper_reach": Bounds("1 cm", "2 m"),
        "body.length": Bounds("3 cm", "3 m"),
        "body.width": Bounds("3 cm", "3 m"),
        "body.track_factor": Bounds("0.5", "4"),
        "links.*.baud": Bounds("300", "10000000"),
        "devices.*.rate": Bounds("0.01 Hz", "2 kHz"),
        "devices.*.overdue_after": Bounds("1 ms", "24 h"),
        "devices.*.ahead": Bounds("-2 m", "2 m"),
        "devices.*.at.ahead": Bounds("-2 m", "2 m"),
        "devices.*.at.left": Bounds("-2 m", "2 m"),
        "devices.drive.top_speed": Bounds("1 cm/s", "10 m/s"),
        "devices.drive.dead_band": Bounds("0 %", "80 %"),
        "devices.drive.pwm_frequency": Bounds("20 Hz", "1000 kHz"),
        "devices.heading.sigma": Bounds("0.001 deg", "45 deg"),
        "devices.heading.drift": Bounds("0 deg/s", "1 deg/s"),
        "devices.range.least": Bounds("0 m", "1 m"),
        "devices.range.most": Bounds("10 cm", "100 m"),
        "devices.range.beam": Bounds("0.1 deg", "180 deg"),
        "devices.camera.height": Bounds("1 cm", "3 m"),
        "devices.camera.tilt": Bounds("-90 deg", "90 deg"),
        "devices.camera.field_of_view": Bounds("5 deg", "170 deg"),
        "devices.camera.sees_to": Bounds("10 cm", "50 m"),
        "devices.camera.latency": Bounds("0 s", "5 s"),
        "devices.camera.frame_width": Bounds("16", "16384"),
        "devices.camera.frame_height": Bounds("16", "16384"),
        "devices.gripper.travel_time": Bounds("10 ms", "30 s"),
        "devices.gripper.opens_to": Bounds("1 mm", "1 m"),
        "devices.gripper.depth": Bounds("1 mm", "1 m"),
        "devices.gripper.tips": Bounds("1 mm", "1 m"),
        "devices.battery.full": Bounds("1 V", "100 V"),
        "devices.battery.inner_resistance": Bounds("0 ohm", "10 ohm"),
        "devices.battery.load_at_full_duty": Bounds("0 A", "200 A"),
        "marker.width": Bounds("1 cm", "2 m"),
        "marker.height": Bounds("1 cm", "2 m"),
        "limits.speed": Bounds("1 cm/s", "10 m/s"),
        "limits.turn_rate": Bounds("1 deg/s", "1080 deg/s"),
        "limits.acceleration": Bounds("1 cm/s^2", "50 m/s^2"),
        "limits.deceleration": Bounds("1 cm/s^2", "50 m/s^2"),
        "limits.turn_acceleration": Bounds("1 deg/s^2", "10000 deg/s^2"),
        "limits.stop_gap": Bounds("0 m", "2 m"),
        "limits.contact_speed": Bounds("1 mm/s", "2 m/s"),
        "limits.boundary_margin": Bounds("0 m", "5 m"),
        "limits.command_lasts": Bounds("10 ms", "5 s"),
    },
    "errand": {
        "field.boundary.*.*": Bounds("-1 km", "1 km"),
        "field.walls.*.*.*": Bounds("-1 km", "1 km"),
        "field.heading_error": Bounds("0 deg", "45 deg"),
        "field.zone.width": Bounds("1 cm", "100 m"),
        "field.zone.depth": Bounds("1 cm", "100 m"),
        "kinds.*.height": Bounds("1 mm", "1 m"),
        "kinds.*.width": Bounds("1 mm", "1 m"),
        "expect": Bounds("0", "10000"),
    },
}
"""Kind of file -> key -> bounds. Under ``devices`` stands the family for every device of it."""


def note_what_cannot_be(source: Source) -> None:
    """Note in a file's source every number that no machine of this kind has; one with a mistake already is left out."""
    kind = next(iter(source.values), "") if isinstance(source.values, dict) else ""
    said = {(problem.line, problem.column) for problem in source.problems}
    for key, bounds in BOUNDS.get(kind, {}).items():
        for where, value in _places(source.values, tuple(key.split("."))):
            spot = source.spot(where)
            if (spot.line, spot.column) not in said and _is_outside(value, bounds):
                why = f"no machine of this kind has this; is the unit right? {bounds.least} to {bounds.most} can be"
                source.report(where, why)


def _places(values: Any, key: tuple[str, ...], where: KeyPath = ()) -> Iterator[tuple[KeyPath, Any]]:
    """Yield place and value of all that stands in a file under a key."""
    if len(where) == len(key):
        yield where, values
        return
    part = key[len(where)]
    pairs = values.items() if isinstance(values, dict) else enumerate(values) if isinstance(values, list) else ()
    for name, value in pairs:
        if part in (ANY, name) or (where == ("devices",) and isinstance(value, dict) and value.get("family") == part):
            yield from _places(value, key, (*where, name))


def _is_outside(value: Any, bounds: Bounds) -> bool:
    """Tell whether a value is a quantity of the kind that is due, and outside its bounds."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        return False
    try:
        quantity = parse(value if isinstance(value, str) else repr(value))
    except QuantityError:
        return False
    least, most = parse(bounds.least), parse(bounds.most)
    return quantity.dimension == least.dimension and not least.value <= quantity.value <= most.value
