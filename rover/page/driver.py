"""How one viewer drives: its words, looked at before they go to the runtime."""

import json
from typing import Any

WAYS = frozenset({"", "forwards", "backwards", "left", "right", "faster", "slower"})
MOST_STAMP = 1 << 53


class Driver:
    """A viewer that may drive.

    Args:
        number: of the viewer.
        whose: where it is.
    """

    def __init__(self, number: int, whose: str) -> None:
        self._number, self._whose = number, whose

    def push(self, text: str) -> dict[str, Any]:
        """Return a word as the runtime takes it, nothing for one that is none.

        It is ``{"push": way, "stamp": ms}``, with the newest time that this viewer has been told.
        """
        try:
            word = json.loads(text)
            way, stamp = word["push"], word["stamp"]
        except (ValueError, TypeError, KeyError, RecursionError):
            return {}
        if not isinstance(way, str) or way not in WAYS or type(stamp) is not int or not 0 <= stamp < MOST_STAMP:
            return {}
        return self._word(way, stamp)

    def let_go(self) -> dict[str, Any]:
        """Return the word that this viewer is gone."""
        return self._word("", 0)

    def _word(self, way: str, stamp: int) -> dict[str, Any]:
        return {"push": way, "stamp": stamp, "viewer": self._number, "whose": self._whose}
