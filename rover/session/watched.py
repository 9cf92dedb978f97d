"""What a host shows of a run while it lasts, and what people who watch it want; the operator page takes part by this.

The session knows no page: whoever starts a run hands one in.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

from rover.core import Core, StepReadings, StepRecord


class Wish(NamedTuple):
    """What somebody wants who watches from elsewhere.

    Attributes:
        word: as that of a key: ``stop``, ``hold``, ``reset``, ``go on``, ``yes``, ``no``; or ``enable``.
        whose: where that person is, for the cause of a stop or a hold.
    """

    word: str
    whose: str


class Page(Protocol):
    """Shows a run. Every call comes from the loop's thread, and none of them may wait."""

    def begin(self, core: Core, header: Mapping[str, str]) -> None:
        """Take the run in before its first step; ``header`` is that of its record."""

    def wishes(self) -> Sequence[Wish]:
        """Return what people want since the last call."""

    def take(self, core: Core, given: StepReadings, decided: StepRecord, *, waits_for: str = "") -> None:
        """Take a step in, once it is recorded; ``waits_for``: what a run waits for that has not begun to move."""

    def end(self, text: str) -> None:
        """Say how the run ended."""


class NoPage(Page):
    """Nobody watches."""

    def begin(self, core: Core, header: Mapping[str, str]) -> None:
        """Show nothing."""

    def wishes(self) -> Sequence[Wish]:
        """Nobody wants anything."""
        return ()

    def take(self, core: Core, given: StepReadings, decided: StepRecord, *, waits_for: str = "") -> None:
        """Show nothing."""

    def end(self, text: str) -> None:
        """Tell nobody."""
