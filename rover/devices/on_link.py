"""Devices on a serial link: several share one. `tools/coprocessor/` has what a co-processor's firmware needs."""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.link import Link


class OnLink:
    """What the drivers have in common: what the device reports in its sentences becomes readings.

    Attributes:
        SENTENCES: the types of the device's sentences.

    Raises:
        ValueError: the options name no link, or one that is not open.
    """

    SENTENCES: ClassVar[tuple[type, ...]]

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        link = context.links.get(options["link"])
        if not isinstance(link, Link):
            named = ", ".join(context.links) or "none"
            raise ValueError(f"driver '{options['driver']}' needs 'link:', one of {named}")
        self._mailbox = link.mailbox(*self.SENTENCES)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the reports that came in as the family's values."""
        read = ((reading, self._value_of(reading.value)) for reading in self._mailbox.take())
        return [reading._replace(value=value) for reading, value in read if value is not None]

    def _value_of(self, report: Any) -> Any:
        """Return the value in a report; None is no reading."""
        raise NotImplementedError

    def close(self) -> None:
        """Do nothing: the link is closed by who opened it, and other drivers may still need it."""
