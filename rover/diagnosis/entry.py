"""An event of a record, with its place there."""

from typing import NamedTuple

from rover.events import Event


class Entry(NamedTuple):
    """An event: when it came (robot time, ns), itself, and the number of its entry in the record."""

    at_ns: int
    event: Event
    number: int
