"""What the stop input reports."""

from typing import NamedTuple


class StopInputValue(NamedTuple):
    """The hard-wired stop input, normally closed: ``closed`` False means stop."""

    closed: bool
