"""Bring-up: each part of the robot is checked by itself, its wheels off the ground, in an order, and reported on."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from rover.events import Note
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.readiness import own_deadlines, sensors
from rover.readiness.finding import Finding, Verdict, judged, not_tried
from rover.readiness.further import check_further, check_outputs
from rover.readiness.jaws import check_gripper
from rover.readiness.last_way import last_way
from rover.readiness.motors import check_motors
from rover.readiness.person import Person
from rover.readiness.stand import NotPermittedError, RobotOnStand
from rover.readiness.stop_input import check_stop_input
from rover.readiness.tried import moving_parts
from rover.session.by_hand import manual_session
from rover.session.hardware import simulated_in
from rover.session.watched import ByHandPage

OFF_THE_GROUND = (
    "First of all: put the robot on a stand, wheels off the ground, fingers and cables away from wheels and jaws. "
    "Software is no substitute for a hard-wired emergency stop: have the motor supply's switch within reach."
)


class Check(NamedTuple):
    """A check: the device that it needs, whether it moves anything, and what makes it."""

    family: str
    moves: bool
    make: Callable[[RobotOnStand], Finding]


CHECKS: dict[str, Check] = {
    "last_way": Check("", False, lambda stand: last_way(stand.robot)),
    "link": Check("", False, sensors.check_link),
    "battery": Check("battery", False, sensors.at_rest("battery", sensors.battery_finding)),
    "stop_input": Check("stop_input", False, check_stop_input),
    "motors": Check("counts", True, check_motors),
    "gripper": Check("gripper", True, check_gripper),
    "outputs": Check("", True, check_outputs),
    own_deadlines.NAME: Check("", True, own_deadlines.check_own_deadlines),
    "heading": Check("heading", False, sensors.at_rest("heading", sensors.heading_finding)),
    "turn": Check("heading", False, sensors.check_turn),
    "range": Check("range", False, sensors.check_range),
    "camera": Check("camera", False, sensors.check_camera),
    "further": Check("", False, check_further),
}
"""The checks in their order: what must be right before motors turn comes first."""


@dataclass(frozen=True)
class BringUpResult:
    """What bring-up came to; all of it can be written as JSON."""

    robot: str
    as_expected: bool
    findings: tuple[Finding, ...]
    record: str


def is_off_the_ground(person: Person) -> bool:
    """Say that the wheels have to be off the ground, and tell whether the person says they are.

    Raises:
        NobodyAnswersError: the input has ended.
    """
    person.tell(OFF_THE_GROUND)
    return person.choose("Are the wheels off the ground?", ("yes", "no")) == "yes"


def bring_up(
    loaded: Loaded[Robot],
    where: tuple[Path | None, Path],
    names: Sequence[str],
    person: Person | None,
    show: Callable[[Finding], None],
    page: ByHandPage | None = None,
) -> BringUpResult:
    """Make checks one after the other, showing each finding as it comes.

    Args:
        loaded: the robot file.
        where: the guard's folder (None: the one of this user), and the file for the run record.
        names: of the checks.
        person: who answers; None: the encoders alone do.
        show: called with each finding.
        page: on which people elsewhere watch.

    Raises:
        NobodyAnswersError: the input has ended.
        RunError, LoadError, RecordError: as `manual_session`.
    """
    folder, record = where
    findings = []
    with manual_session(loaded, folder, record, "Bring-up", page) as session:
        stand = RobotOnStand(loaded, session, person)
        for name in _that_concern(loaded.model, names):
            findings.append(_finding(name, stand))
            session.record(Note("check", f"{name}: {findings[-1].verdict}: {findings[-1].measured}"))
            show(findings[-1])
    as_expected = all(finding.verdict is not Verdict.OTHERWISE for finding in findings)
    return BringUpResult(loaded.model.robot, as_expected, tuple(findings), str(record))


def _that_concern(robot: Robot, names: Sequence[str]) -> list[str]:
    """Return the checks that concern a robot: most have nothing of a person's own."""
    own = {own_deadlines.NAME: moving_parts(robot), "outputs": robot.outputs, "further": robot.devices.further}
    return [name for name in names if own.get(name, True)]


def _finding(name: str, stand: RobotOnStand) -> Finding:
    """Make a check, where the robot has what it needs."""
    family, session = CHECKS[name].family, stand.session
    if name == "link" and not session.devices.links:
        return not_tried(name, "the robot has no serial link", "lines")
    if family and getattr(stand.robot.devices, family) is None:
        wire_one = ["wire a normally closed stop, and name its pin in the robot file"] * (family == "stop_input")
        return not_tried(name, "the robot file has none", "", *wire_one)
    if family in simulated_in(stand.robot):
        return not_tried(name, "its driver in the robot file is 'simulated'", "", "name a real driver")
    try:
        finding = CHECKS[name].make(stand)
    except NotPermittedError as error:
        advice = "see to the cause, then reset: rover jog ROBOT, keys r and then g; and repeat with --only"
        return judged(name, False, f"motion is stopped: {error}", "motion is permitted", advice)
    if family in session.faults:
        return judged(name, False, session.faults[family], finding.expected, "see to the driver and its device")
    return finding
