"""The jaws: servo pulses for open and closed, and what the feedback says with and without an object between them."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rover.calibrate.apparatus import Assistant, Drivetrain, needed
from rover.calibrate.findings import CalibrationError, Findings, Plot, Series, ValueChange, changed
from rover.devices.gripper.keys import GripperKeys, ServoPinsKeys
from rover.devices.readings import JawsValue
from rover.files.robot import Robot

CLOSINGS = 5
SETTLE_S = 0.4
"""After its travel time the servo is given so long to come to rest."""
SHORTEST, LONGEST = 0.0005, 0.0025
"""Pulses (s) that servos take: 1 to 2 ms by convention, 0.5 to 2.5 ms where the travel is extended."""
_APART_SIGMAS = 4.0


class FeedbackSample(NamedTuple):
    """What the feedback said with the jaws at rest: its raw number and whether they hold, where it tells these."""

    raw: float | None
    holding: bool | None


class GripperMeasurements(NamedTuple):
    """Pulses (s) and the feedback with the jaws open, closed on nothing, and closed on an object."""

    opened: float
    closed: float
    open_jaws: Sequence[FeedbackSample] = ()
    nothing: Sequence[FeedbackSample] = ()
    something: Sequence[FeedbackSample] = ()


def measure(drivetrain: Drivetrain, assistant: Assistant, robot: Robot) -> GripperMeasurements:
    """Find the pulses by eye; with feedback, close the jaws on nothing and on an object, some times each.

    Raises:
        CalibrationError: there is no gripper.
    """
    gripper = _gripper(robot)
    jaws = _ServoJaws(drivetrain, robot)
    assistant.take_object()
    closed = check_pulse(assistant.pulse("closed", gripper.closed, jaws.move))
    opened = check_pulse(assistant.pulse("open", gripper.open, jaws.move))
    if abs(opened - closed) < 50e-6:
        raise CalibrationError("open and closed are less than 50 us apart; the jaws would not move")
    if gripper.feedback == "none":
        return GripperMeasurements(opened, closed)
    open_jaws, nothing, something = list[FeedbackSample](), list[FeedbackSample](), list[FeedbackSample]()
    for _ in range(CLOSINGS):
        open_jaws.append(jaws.move(opened))
        nothing.append(jaws.move(closed))
    for _ in range(CLOSINGS):
        jaws.move(opened)
        assistant.put_object()
        something.append(jaws.move(closed))
    jaws.move(opened)
    assistant.take_object()
    return GripperMeasurements(opened, closed, open_jaws, nothing, something)


def check_pulse(pulse: float) -> float:
    """Return a pulse (s) that a servo takes.

    Raises:
        CalibrationError: it is none.
    """
    if not SHORTEST <= pulse <= LONGEST:
        raise CalibrationError(f"a servo pulse of {pulse * 1e6:.0f} us: it lies between 500 us and 2500 us")
    return pulse


def _gripper(robot: Robot) -> GripperKeys:
    return needed(robot.devices.gripper, "gripper", "gripper")


def opening_at(pulse: float, robot: Robot) -> float:
    """Return the opening by which a robot's driver sends a pulse (s)."""
    gripper = _gripper(robot)
    return (pulse - gripper.closed) / (gripper.open - gripper.closed)


def widened(robot: Robot) -> Robot:
    """Return the robot with a gripper that can be told every pulse a servo takes, as fast as before; limp at the end.

    Raises:
        CalibrationError: there is no gripper.
    """
    gripper = _gripper(robot)
    longer = (LONGEST - SHORTEST) / max(1e-4, abs(gripper.open - gripper.closed))
    wide = {"closed": SHORTEST, "open": LONGEST, "travel_time": gripper.travel_time * longer, "on_stop": "limp"}
    devices = robot.devices.model_copy(update={"gripper": gripper.model_copy(update=wide)})
    return robot.model_copy(update={"devices": devices})


class _ServoJaws:
    """Moves the jaws and reads their feedback."""

    def __init__(self, drivetrain: Drivetrain, robot: Robot) -> None:
        self._drivetrain, self._gripper = drivetrain, _gripper(robot)
        self._steps = round((self._gripper.travel_time + SETTLE_S) / drivetrain.period_s)

    def move(self, pulse: float) -> FeedbackSample:
        """Move to a pulse (s) and return the feedback there."""
        self._drivetrain.jaws(pulse)
        holding = None
        for _ in range(self._steps):
            for family, reading in self._drivetrain.step(0.0, 0.0):
                if family == "gripper" and isinstance(reading.value, JawsValue):
                    holding = reading.value.holding
        return FeedbackSample(self._drivetrain.feedback(), holding)


def findings(measured: GripperMeasurements, robot: Robot) -> Findings:
    """Return what the feedback says about a robot file."""
    gripper = _gripper(robot)
    changes = (
        *changed("devices.gripper.open", gripper.open, measured.opened, _pulse),
        *changed("devices.gripper.closed", gripper.closed, measured.closed, _pulse),
        *_signature(measured, gripper),
    )
    named = (
        ("open", measured.open_jaws),
        ("closed on nothing", measured.nothing),
        ("closed on the object", measured.something),
    )
    series = tuple(Series(name, range(1, 1 + len(_raw(samples))), _raw(samples)) for name, samples in named)
    plots = (Plot("Feedback", "closing", "raw number", series),) if _raw(measured.nothing) else ()
    data = {"open_s": measured.opened, "closed_s": measured.closed}
    samples = {key: [*map(list, getattr(measured, key))] for key in ("open_jaws", "nothing", "something")}
    return Findings(changes, _lines(measured), plots, data | samples)


def _signature(measured: GripperMeasurements, gripper: GripperKeys) -> tuple[ValueChange, ...]:
    """Return the changes to the feedback's numbers, where it is read from a file and they can be told apart."""
    opened, nothing, something = map(_raw, (measured.open_jaws, measured.nothing, measured.something))
    if (
        not isinstance(gripper, ServoPinsKeys)
        or gripper.feedback_file is None
        or not nothing
        or not is_apart(nothing, something)
    ):
        return ()
    if gripper.feedback == "current":
        threshold = 0.5 * (float(np.mean(nothing)) + float(np.mean(something)))
        return changed("devices.gripper.holds_above", gripper.holds_above, threshold, _number)
    return (
        *changed("devices.gripper.reads_closed", gripper.reads_closed, float(np.median(nothing)), _number),
        *changed("devices.gripper.reads_open", gripper.reads_open, float(np.median(opened)), _number),
    )


def is_apart(nothing: Sequence[float], something: Sequence[float]) -> bool:
    """Tell whether two groups of numbers lie apart by more than four standard deviations and do not overlap."""
    if max(min(nothing), min(something)) <= min(max(nothing), max(something)):
        return False
    spread = float(np.std(nothing) + np.std(something))
    return abs(float(np.mean(something)) - float(np.mean(nothing))) > _APART_SIGMAS * spread


def _lines(measured: GripperMeasurements) -> tuple[str, ...]:
    if not measured.nothing:
        return ("no feedback: that something is held must be seen in another way",)
    nothing, something = _raw(measured.nothing), _raw(measured.something)
    held = tuple(sum(sample.holding is True for sample in group) for group in (measured.nothing, measured.something))
    by_number = (
        f"raw number: {_spread(nothing)} closed on nothing, {_spread(something)} closed on the object: "
        + ("well apart" if is_apart(nothing, something) else "too close together to tell; no numbers are proposed")
        if nothing and something
        else "no raw number can be read"
    )
    return (
        by_number,
        f"by the file as it was, 'held' was said {held[0]} times of {len(measured.nothing)} with nothing, and "
        f"{held[1]} of {len(measured.something)} with the object",
    )


def _raw(samples: Sequence[FeedbackSample]) -> list[float]:
    return [one.raw for one in samples if one.raw is not None]


def _spread(numbers: Sequence[float]) -> str:
    return f"{np.mean(numbers):.4g} +- {np.std(numbers):.2g}"


def _pulse(seconds: float) -> str:
    return f"{seconds * 1e6:.0f} us"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.5g}"
