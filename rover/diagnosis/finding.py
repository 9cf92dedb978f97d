"""What a rule finds: who is suspected, of what, where in the record, how grave it was, and what to try."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import IntEnum

from rover.diagnosis.entry import Entry
from rover.diagnosis.evidence import Evidence


class Gravity(IntEnum):
    """What something cost the run."""

    SLOWER = 0
    """Time, or a surer position."""
    LACKED = 1
    """An object that is not in, or a device that it had to do without."""
    ENDED = 2
    """The run's end."""


@dataclass(frozen=True)
class Suspicion:
    """What a rule's look returns.

    Attributes:
        whom: the device, the thing or the setting, as a person calls it.
        said: what the record says of it, a sentence without its full stop.
        at: where it says so first; None of what only the figures at the end tell.
        gravity: what it cost.
        seconds: how long it lasted or how much time it cost, as far as that is known.
    """

    whom: str
    said: str
    at: Entry | None = None
    gravity: Gravity = Gravity.SLOWER
    seconds: float = 0.0


@dataclass(frozen=True)
class Rule:
    """One rule.

    Attributes:
        name: by which the answer names it.
        speaks: when it does, for the documentation.
        advice: what to try then.
        look: finds what it is about.
    """

    name: str
    speaks: str
    advice: str
    look: Callable[[Evidence], Iterable[Suspicion]]


@dataclass(frozen=True)
class Finding:
    """A suspicion of a rule."""

    rule: Rule
    suspicion: Suspicion
