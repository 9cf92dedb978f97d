"""What outputs of one's own are set to."""

import math
from collections.abc import Mapping

from rover.devices.outputs.keys import OutputKeys
from rover.devices.readings import OutputCommand
from rover.files.problems import nearest
from rover.kinds import Truth

Level = float | bool


class OutputValues:
    """The values of a robot's outputs: at rest until something sets them, and again whenever the robot may not move.

    Args:
        keys: what the robot file says of each.

    Attributes:
        changed: those that were set to another value since this was last emptied.
    """

    def __init__(self, keys: Mapping[str, OutputKeys]) -> None:
        self._keys = keys
        self._rest = {name: one.at_rest for name, one in keys.items()}
        self._values = dict(self._rest)
        self.changed: dict[str, Level] = {}

    def set(self, values: Mapping[str, Level]) -> None:
        """Set some of them.

        Raises:
            ValueError: the robot has no such output, or it is of another kind; none is set then.
        """
        for name, value in values.items():
            if name not in self._keys:
                raise ValueError(f"the robot has no output '{name}'{nearest(name, self._keys)}")
            if not _is_of_kind(self._keys[name], value):
                raise ValueError(f"output '{name}' is {self._keys[name].kind}, and {value!r} is not")
        self._take(values)

    def rest(self) -> None:
        """Bring all to rest."""
        if self._values != self._rest:
            self._take(self._rest)

    def commands(self, sequence: int, expires_ns: int) -> tuple[tuple[str, OutputCommand], ...]:
        """Return the commands of a step, by name."""
        return tuple((name, OutputCommand(value, sequence, expires_ns)) for name, value in self._values.items())

    def _take(self, values: Mapping[str, Level]) -> None:
        self.changed |= {name: value for name, value in values.items() if value != self._values[name]}
        self._values |= values


def _is_of_kind(keys: OutputKeys, value: object) -> bool:
    if isinstance(keys.kind, Truth):
        return isinstance(value, bool)
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def in_words(level: Level) -> str:
    """Return a value as text, numbers in SI units."""
    return ("yes" if level else "no") if isinstance(level, bool) else f"{level:g}"
