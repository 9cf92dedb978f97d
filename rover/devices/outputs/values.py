"""What an output of one's own is commanded."""

from typing import NamedTuple


class OutputCommand(NamedTuple):
    """A value (SI units, or true or false), the command's number, and the time at which it ends unless it is renewed.

    The core renews it in each step. One that has ended is followed by a command with the value at rest.
    """

    value: float | bool
    sequence: int
    expires_ns: int
