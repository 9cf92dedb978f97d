"""A range finder that plays a script."""

from rover.devices.fakes import Scripted
from rover.devices.range.values import RangeValue


class Range(Scripted):
    """Entries [time, distance]; a distance left out is no echo."""

    @staticmethod
    def VALUE(distance: float | None = None) -> RangeValue:  # noqa: N802  it stands in for a value type
        """Return the value of an entry."""
        return RangeValue(distance)
