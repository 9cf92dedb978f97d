"""Checks of what is commanded. What the device moves, moves: nothing may be in its way."""

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from rover.devices.meanwhile import FAILURES
from rover.devices.outputs.keys import in_si
from rover.devices.readings import DriveCommand, JawsCommand, OutputCommand
from rover.errors import in_words
from rover.kinds import Truth
from rover.testing.driver import DriverUnderTest
from rover.testing.trial import AtWork
from rover.testing.watch import ContractError, Watch, watched

LASTS_NS = 250_000_000
"""A command is valid for so long."""
ARRIVES_WITHIN_STEPS = 5
"""Steps of the loop that a command may take through threads and lines."""
DUTIES = (0.0, 0.25, -0.25, 1.0, -1.0, 0.0)
OPENINGS = (1.0, 0.5, 0.0, None, 1.0)
NO_NUMBERS = (math.nan, math.inf, -math.inf)


def check_apply_takes_the_whole_range(subject: DriverUnderTest) -> None:
    """`apply` carries out every command that can come, and never waits for it.

    Duties from -1 to 1; openings from 0 to 1 and None, which lets the jaws go limp; of an output the values that the
    robot file has. A driver of what moves that raises stops the robot.
    """
    if not subject.acts:
        return
    limit_s = subject.robot.limits.command_lasts

    def work(at_work: AtWork) -> None:
        for number, value in enumerate(_range(subject), 1):
            try:
                seconds = at_work.apply(_command(subject, value, number, at_work.clock.now_ns() + LASTS_NS))
            except FAILURES as error:
                raise ContractError(f"apply() raised {in_words(error)} for {_said(subject, value)}") from error
            if seconds > limit_s:
                raise ContractError(
                    f"apply() took {seconds:.2g} s; after {limit_s:g} s without a command the wheels stand still: hand "
                    "the command to a thread of the driver's own"
                )

    _at_work(subject, work)


def check_apply_refuses_what_is_no_number(subject: DriverUnderTest) -> None:
    """`apply` raises for NaN and infinity, and carries nothing out.

    A comparison with NaN is false, so that clipping lets it through, and what a device makes of it nobody knows.
    """
    if not subject.acts or isinstance(_range(subject)[0], bool):
        return

    def work(at_work: AtWork) -> None:
        for number, value in enumerate(NO_NUMBERS, 1):
            before = _told(subject, at_work)
            has_raised = False
            try:
                at_work.apply(_command(subject, value, number, at_work.clock.now_ns() + LASTS_NS))
            except FAILURES:
                has_raised = True
            is_refused = has_raised if subject.told is None else _told(subject, at_work) == before
            if not is_refused:
                raise ContractError(f"apply() took {_said(subject, value)}; raise ValueError unless math.isfinite(...)")

    _at_work(subject, work)


def check_expired_commands_change_nothing(subject: DriverUnderTest) -> None:
    """A command whose time has passed is not carried out.

    It was meant for then: what waited in a stalled loop or line must not move the robot when that goes on.
    """
    if not subject.acts:
        return

    def work(at_work: AtWork) -> None:
        first, other = _range(subject)[:2]
        now_ns = at_work.clock.now_ns()
        at_work.apply(_command(subject, first, 1, now_ns + LASTS_NS))
        before = _told(subject, at_work)
        with suppress(*FAILURES):
            at_work.apply(_command(subject, other, 2, now_ns - 1))
        if _told(subject, at_work) != before:
            raise ContractError(
                f"a command for {_said(subject, other)} was carried out though its expires_ns had passed; compare it "
                "with now_ns first"
            )

    _at_work(subject, work)


def _told(subject: DriverUnderTest, at_work: AtWork) -> object:
    """Return what the hardware has been told, once that has had time to arrive; None where nobody knows."""
    if subject.told is None:
        return None
    for _ in range(ARRIVES_WITHIN_STEPS):
        at_work.next_step()
    return subject.told()


def _range(subject: DriverUnderTest) -> Sequence[Any]:
    """Return values to command: two different ones first, at rest in the end."""
    if subject.name in subject.robot.outputs:
        output = subject.robot.outputs[subject.name]
        other = not output.at_rest if isinstance(output.kind, Truth) else output.at_rest
        trial = other if output.trial is None else in_si(output.trial)
        return output.at_rest, trial, output.at_rest
    return DUTIES if subject.name == "drive" else OPENINGS


def _command(subject: DriverUnderTest, value: Any, sequence: int, expires_ns: int) -> Any:
    if subject.name in subject.robot.outputs:
        return OutputCommand(value, sequence, expires_ns)
    if subject.name == "drive":
        return DriveCommand(value, -value, sequence, expires_ns)
    return JawsCommand(value, sequence, expires_ns)


def _said(subject: DriverUnderTest, value: Any) -> str:
    what = {"drive": "duties", "gripper": "an opening"}.get(subject.name, "a value")
    return f"{what} of {value}"


def _at_work(subject: DriverUnderTest, work: Callable[[AtWork], None]) -> None:
    """Do something with a driver made for it; at the end it is at rest and closed."""

    def with_driver(watch: Watch) -> None:
        at_work = AtWork(subject, watch)
        try:
            work(at_work)
        finally:
            with suppress(*FAILURES):
                at_work.apply(_command(subject, _range(subject)[-1], 99, at_work.clock.now_ns() + LASTS_NS))
            at_work.close()

    watched(with_driver)
