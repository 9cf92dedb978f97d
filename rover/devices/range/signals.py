"""What conditions read of a range finder."""

from rover import quantities
from rover.devices.range.keys import RangeKeys
from rover.devices.range.values import RangeValue
from rover.devices.signals import DeviceSignal
from rover.kinds import Number, Truth


def _distance(value: RangeValue, keys: RangeKeys) -> float:
    return keys.no_echo_distance if value.distance is None else value.distance


def _echo(value: RangeValue, keys: RangeKeys) -> bool:
    return value.distance is not None


SIGNALS = {
    "distance": DeviceSignal(
        Number(quantities.LENGTH), "distance to what it hears; with no echo, what the robot file says", _distance
    ),
    "echo": DeviceSignal(Truth(), "an echo came back", _echo),
}
