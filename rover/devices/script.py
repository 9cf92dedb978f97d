"""What the families' fakes have in common: sensors play a list of values, actuators keep their commands.

They do not model hardware: no noise, no delay, no limits. For those there is the bench (`rover rehearse`).
"""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.readings import Reading
from rover.quantities import must_be_finite

_NS = 1e9


class Played:
    """A sensor that plays ``script``: a list of [time, value, value...], times (s) counted from the first poll.

    Each entry is reported at the first poll at or after its time, as taken then. Values are those of the family's
    value type in their order; left out, they have its defaults. Quantities in a robot file carry their units.
    """

    VALUE: Any

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self._script = [(float(entry[0]), entry[1:]) for entry in options["script"]]
        if any(later < earlier for (earlier, _), (later, _) in zip(self._script, self._script[1:], strict=False)):
            raise ValueError("the times of a script must not go back; put its entries in order")
        self._started_ns: int | None = None
        self._next = 0

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the entries that have become due."""
        if self._started_ns is None:
            self._started_ns = now_ns
        readings: list[Reading] = []
        while self._next < len(self._script):
            after_s, values = self._script[self._next]
            taken_ns = self._started_ns + round(after_s * _NS)
            if taken_ns > now_ns:
                break
            readings.append(Reading(taken_ns, self._next, self.VALUE(*values)))
            self._next += 1
        return readings

    def close(self) -> None:
        """Report no more."""
        self._next = len(self._script)


class CommandLog:
    """An actuator that keeps what it is commanded.

    Attributes:
        commands: (time in ns, command), the oldest first.
    """

    def __init__(self, options: Mapping[str, Any], context: Any = None) -> None:
        self.commands: list[tuple[int, Any]] = []

    def apply(self, command: Any, now_ns: int) -> None:
        """Keep a command, unless it has expired.

        Raises:
            ValueError: it commands what is not a number.
        """
        must_be_finite(*(one for one in command[:-2] if one is not None))
        if now_ns < command.expires_ns:
            self.commands.append((now_ns, command))

    def close(self) -> None:
        """Do nothing."""
