"""Driver for a marine compass: a serial link that carries nothing but the standard sentences HDT, HDG, HDM, ROT."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.on_link import OnLink
from rover.devices.protocols import DriverContext
from rover.devices.readings import HeadingValue, Reading
from rover.link.sentences import MagneticHeading, RateOfTurn, TrueHeading, compass_angle
from rover.quantities import wrap

RATE_HOLDS_NS = 500_000_000
"""A rate of turn older than this against the heading is left out."""


class Heading(OnLink):
    """Heading of a marine compass; the option ``offset`` (rad, counter-clockwise) is added to what it says.

    Where the compass sends both, only headings from true north count once one has come: changing between true and
    magnetic north would look like a turn. A rate goes with the headings that follow it.
    """

    SENTENCES = (TrueHeading, MagneticHeading, RateOfTurn)

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        super().__init__(options, context)
        self._offset = options["offset"]
        self._knows_true = False
        self._rate: Reading | None = None
        self._sequence = 0

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the headings that came in as `HeadingValue`; null fields and status V are no reading."""
        return [heading for reading in self._mailbox.take() if (heading := self._follow(reading)) is not None]

    def _follow(self, reading: Reading) -> Reading | None:
        if isinstance(reading.value, RateOfTurn):
            self._rate = reading
            return None
        angle = compass_angle(reading.value)
        if angle is None or not self._is_of_use(reading.value):
            return None
        self._sequence += 1
        value = HeadingValue(wrap(angle + self._offset), self._rate_at(reading.taken_ns))
        return Reading(reading.taken_ns, self._sequence, value)

    def _is_of_use(self, heading: TrueHeading | MagneticHeading) -> bool:
        self._knows_true = self._knows_true or isinstance(heading, TrueHeading)
        return isinstance(heading, TrueHeading) or not self._knows_true

    def _rate_at(self, taken_ns: int) -> float | None:
        if self._rate is None or taken_ns - self._rate.taken_ns > RATE_HOLDS_NS:
            return None
        rate: float | None = self._rate.value.rate
        return rate
