"""What a range finder reports."""

from typing import NamedTuple


class RangeValue(NamedTuple):
    """Distance in metres from the sensor's face; ``None`` means that no echo came back."""

    distance: float | None = None
