"""What a device may report at all: values within what the robot file says of it, and steps that can be.

A checksum proves little: one that is 8 bits long, as of the standard sentences, passes one damaged sentence in two
hundred, and a board may err before it sums. So values are held against what can be, too.
"""

import math
from collections.abc import Callable
from typing import Any

from rover.devices.battery.keys import BatteryKeys
from rover.devices.camera.keys import CameraKeys
from rover.devices.families import FAMILIES
from rover.devices.own import OwnDeviceKeys
from rover.devices.range.keys import RangeKeys
from rover.devices.readings import HeadingValue, Reading
from rover.errors import in_short
from rover.files.robot import Robot
from rover.quantities import wrap

CLOCK_SLACK_NS = 1_000_000
"""A reading may seem to have been taken this much after the step: clocks are mapped, not exact."""
FULL_FACTOR = 2.0
"""A battery shows no more than this many times its full voltage."""
MOST_AMPS = 1000.0
FARTHEST_SEEN = 4.0
"""An object is surely found no farther off than this many times as far as the camera sees: near the horizon a nod of
the camera makes any distance of it, and its stated deviation as large."""
RANGE_SLACK = 0.05
"""Share by which an echo may come from beyond the range finder's stated maximum."""
TURN_FACTOR = 1.6
"""The robot turns no faster than this many times what its wheels could do without slipping sideways."""
MOST_COUNTS = 2**62
MOST_ANGLE = 1e4
"""Some sensors count turns on (rad)."""
ANGLE_SLACK = 0.2
"""Two headings may differ by this much (rad) more than the rate between them explains..."""
ANGLE_CHANGE = 3.0
"""... and by this much (rad/s^2) times the square of the time between them."""
RATE_SLACK, RATE_CHANGE = 1.0, 12.0
"""Two rates may differ by this much (rad/s), and by so much more (rad/s^2) for the time between them."""


def _between(low: float, value: Any, high: float) -> bool:
    """Tell whether a value is None, or a number between two."""
    return value is None or bool(low <= value <= high)


def checks(robot: Robot) -> dict[str, Callable[[Any], str]]:
    """Return for each device a check that returns why a value cannot be, or ''; ``impossible`` for any other type."""
    devices = robot.devices
    made: dict[str, Callable[[Any], str]] = {}
    for name, device in devices.fitted().items():
        if isinstance(device, OwnDeviceKeys):
            made[name] = device.why_impossible
        else:
            family = devices.family_of(name)
            check = _CHECKS[family](device, robot) if family in _CHECKS else None
            made[name] = _in_words(FAMILIES[family].value, check)
    return made


def _in_words(kind: type, is_possible: Callable[[Any], bool] | None) -> Callable[[Any], str]:
    def why_impossible(value: Any) -> str:
        try:  # no look-alike of its kind: what takes values in tells them apart by that
            possible = isinstance(value, kind) and (is_possible is None or is_possible(value))
        except Exception:  # it may hold anything, also what cannot even be compared
            possible = False
        return "" if possible else f"gives impossible values ({in_short(value)})"

    return why_impossible


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and -MOST_COUNTS <= value <= MOST_COUNTS


def _counts(keys: Any, robot: Robot) -> Callable[[Any], bool]:
    return lambda value: _is_count(value.left) and _is_count(value.right)


def _heading(keys: Any, robot: Robot) -> Callable[[Any], bool]:
    most_rate = fastest_turn(robot)

    def check(value: Any) -> bool:
        return -MOST_ANGLE <= value.angle <= MOST_ANGLE and _between(-most_rate, value.rate, most_rate)

    return check


def _range(keys: RangeKeys, robot: Robot) -> Callable[[Any], bool]:
    farthest = (1.0 + RANGE_SLACK) * keys.most
    return lambda value: _between(0.0, value.distance, farthest)


def _camera(keys: CameraKeys, robot: Robot) -> Callable[[Any], bool]:
    seen_to = FARTHEST_SEEN * keys.sees_to

    def check(value: Any) -> bool:
        return all(
            _between(-math.pi, one.bearing, math.pi)
            and 0.0 <= one.distance <= seen_to + 2.0 * one.distance_sigma < math.inf
            for one in value.objects
        )

    return check


def _gripper(keys: Any, robot: Robot) -> Callable[[Any], bool]:
    return lambda value: _between(-0.1, value.opening, 1.1)


def _battery(keys: BatteryKeys, robot: Robot) -> Callable[[Any], bool]:
    most_volts = FULL_FACTOR * keys.full
    return lambda value: 0.0 <= value.volts <= most_volts and _between(-MOST_AMPS, value.amps, MOST_AMPS)


def _stop_input(keys: Any, robot: Robot) -> Callable[[Any], bool]:
    return lambda value: value.closed in (True, False)


_CHECKS: dict[str, Callable[[Any, Robot], Callable[[Any], bool]]] = {
    "counts": _counts,
    "heading": _heading,
    "range": _range,
    "camera": _camera,
    "gripper": _gripper,
    "battery": _battery,
    "stop_input": _stop_input,
}
"""For each family, what makes a check of its values from a device's keys."""


def fastest_turn(robot: Robot) -> float:
    """Return the fastest turn rate (rad/s) that can be: by its wheels, or a turn a second by a person's hand."""
    return max(math.tau, TURN_FACTOR * 2.0 * robot.devices.drive.top_speed / robot.body.track)


class HeadingSteps:
    """Holds each heading against the one before: it turned as the rate between them says, or no farther than can be.

    One that did not is doubted. If the next follows from it, it is believed from there on (the sensor was turned by
    hand, or has found north); if not, it was damaged.
    """

    def __init__(self, robot: Robot) -> None:
        self._fastest = min(fastest_turn(robot), 1.5 * robot.limits.turn_rate)
        self._last: Reading | None = None
        self._doubted: Reading | None = None

    def follows(self, reading: Reading) -> bool:
        """Tell whether a heading may be believed."""
        last, doubted = self._last, self._doubted
        if last is None or self._can_follow(last, reading) or (doubted and self._can_follow(doubted, reading)):
            self._last, self._doubted = reading, None
            return True
        self._doubted = reading
        return False

    def _can_follow(self, last: Reading, reading: Reading) -> bool:
        seconds = abs(reading.taken_ns - last.taken_ns) * 1e-9
        earlier: HeadingValue = last.value
        later: HeadingValue = reading.value
        turned, before, now = wrap(later.angle - earlier.angle), earlier.rate, later.rate
        if before is None or now is None:
            return abs(turned) <= ANGLE_SLACK + self._fastest * seconds
        unexplained = abs(turned - 0.5 * (before + now) * seconds)
        return (
            unexplained <= ANGLE_SLACK + ANGLE_CHANGE * seconds * seconds
            and abs(now - before) <= RATE_SLACK + RATE_CHANGE * seconds
        )
