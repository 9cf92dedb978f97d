"""Wheels that only the motor guard drives: `rover.guard.drivers` has the runtime's side of it."""

from collections.abc import Mapping
from typing import Any


class Drive:
    """Stands in the registry for the built-in drives, none of which can be had outside the guard."""

    def __init__(self, options: Mapping[str, Any], context: Any) -> None:
        raise ValueError(
            f"driver '{options.get('driver')}' is driven by the motor guard, which 'rover run' starts; "
            "rehearse with 'rover rehearse'"
        )

    def apply(self, command: Any, now_ns: int) -> None:
        """Never reached: the class cannot be made."""

    def close(self) -> None:
        """Never reached."""
