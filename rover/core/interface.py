"""What goes into a step and what comes out of it."""

from collections.abc import Sequence
from typing import NamedTuple

from rover.behaviour.engine import Ending
from rover.devices.readings import DriveCommand, JawsCommand, OutputCommand, Reading
from rover.events import Event


class Action(NamedTuple):
    """What an operator or the motor guard did: one of `rover.core.step.ACTS`, with its cause, or ``answer``.

    The value of an answer is ``yes`` or ``no``.
    """

    kind: str
    value: str = ""


class StepReadings(NamedTuple):
    """All that a step sees.

    Attributes:
        now_ns: time of the step.
        new: (device family, reading), ordered by family and sequence.
        faults: (device family, why) of drivers that failed since the last step, with '' of those that are back; the
            run record counts as one, ``record``.
        actions: what operators did since the last step.
    """

    now_ns: int
    new: Sequence[tuple[str, Reading]] = ()
    faults: Sequence[tuple[str, str]] = ()
    actions: Sequence[Action] = ()


class StepRecord(NamedTuple):
    """What a step decided. ``jaws`` is None until a first jaw command; ``events`` are in the order they happened.

    ``outputs`` are the commands of outputs of one's own, by name.
    """

    now_ns: int
    drive: DriveCommand
    jaws: JawsCommand | None
    state: str
    events: tuple[Event, ...]
    ending: Ending | None
    outputs: tuple[tuple[str, OutputCommand], ...] = ()
