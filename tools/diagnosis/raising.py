"""A driver that raises at every poll, for one of the causes."""

from typing import Any


class Raising:
    """Made without complaint; then every poll raises."""

    def __init__(self, options: Any, context: Any) -> None:
        pass

    def poll(self, now_ns: int) -> list[Any]:
        raise ValueError("no answer at address 0x40")

    def close(self) -> None:
        pass
