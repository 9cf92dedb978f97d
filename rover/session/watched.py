"""What a session shows of itself while it lasts, and what people who watch it want; so the operator page takes part.

The session knows no page: whoever starts one hands it in.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, Protocol

from rover.core import Core, StepReadings, StepRecord
from rover.devices.readings import Reading
from rover.events import Event
from rover.files.robot import Robot

Readings = Sequence[tuple[str, Reading]]


class Wish(NamedTuple):
    """What somebody wants who watches from elsewhere.

    Attributes:
        word: as that of a key: ``stop``, ``hold``, ``reset``, ``go on``, ``yes``, ``no``; or ``enable``.
        whose: where that person is, for the cause of a stop or a hold.
    """

    word: str
    whose: str


class Push(NamedTuple):
    """A word of somebody who drives by hand from elsewhere, held to run.

    Attributes:
        way: ``forwards``, ``backwards``, ``left`` or ``right``; '': let go, or the connection is lost.
        viewer: number of the one who drives.
        whose: where that person is.
        stamp_ns: the newest time that this one had been told when saying so: a word that was long under way is known.
    """

    way: str
    viewer: int
    whose: str
    stamp_ns: int


class Standing(NamedTuple):
    """Whether a session may move: a phase of `rover.stopping` in words, or ``guard silent``; and why nothing moves."""

    phase: str
    cause: str


class Waiting(NamedTuple):
    """What a run waits for before motion is enabled, '' for nothing, and whether that is a person's word."""

    what: str
    may_enable: bool


BEGUN = Waiting("", may_enable=False)


class Page(Protocol):
    """Shows a run. Every call comes from the loop's thread, and none of them may wait."""

    def begin(self, core: Core, header: Mapping[str, str]) -> None:
        """Take the run in before its first step; ``header`` is that of its record."""

    def wishes(self) -> Sequence[Wish]:
        """Return what people want since the last call."""

    def take(self, core: Core, given: StepReadings, decided: StepRecord, waiting: Waiting = BEGUN) -> None:
        """Take a step in, once it is recorded; ``waiting``: what a run waits for that has not begun to move."""

    def see(self, frame: Reading | None) -> None:
        """Take the camera's newest frame in, if it has any."""

    def end(self, text: str) -> None:
        """Say how the run ended."""


class NoPage(Page):
    """Nobody watches the run."""

    def begin(self, core: Core, header: Mapping[str, str]) -> None:
        """Show nothing."""

    def wishes(self) -> Sequence[Wish]:
        """Nobody wants anything."""
        return ()

    def take(self, core: Core, given: StepReadings, decided: StepRecord, waiting: Waiting = BEGUN) -> None:
        """Show nothing."""

    def see(self, frame: Reading | None) -> None:
        """Show nothing."""

    def end(self, text: str) -> None:
        """Tell nobody."""


class ByHandPage(Protocol):
    """Shows a session without a core, as bring-up and jog have them. Nothing waits."""

    def begin(self, robot: Robot, header: Mapping[str, str]) -> None:
        """Take the session in; ``header`` is that of its record."""

    def wishes(self) -> Sequence[Wish]:
        """Return what people want since the last call."""

    def pushes(self) -> Sequence[Push]:
        """Return the words of those who drive since the last call, oldest first."""

    def hear(self, now_ns: int, stands: Standing, new: Readings, faults: Mapping[str, str]) -> None:
        """Take in what came: how the guard stands, readings, and why drivers are away."""

    def note(self, now_ns: int, event: Event) -> None:
        """Take an event in."""

    def tell(self, **facts: Any) -> None:
        """Take in what else is to be shown, by name: speed, who drives, what holds back."""


class NoByHandPage(ByHandPage):
    """Nobody watches the session."""

    def begin(self, robot: Robot, header: Mapping[str, str]) -> None:
        """Show nothing."""

    def wishes(self) -> Sequence[Wish]:
        """Nobody wants anything."""
        return ()

    def pushes(self) -> Sequence[Push]:
        """Nobody drives."""
        return ()

    def hear(self, now_ns: int, stands: Standing, new: Readings, faults: Mapping[str, str]) -> None:
        """Show nothing."""

    def note(self, now_ns: int, event: Event) -> None:
        """Show nothing."""

    def tell(self, **facts: Any) -> None:
        """Show nothing."""
