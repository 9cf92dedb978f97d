"""Checks of what is polled: that nobody waits for it, and that its reports can be relied on."""

from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise
from statistics import median
from typing import Any

from rover.core.possible import CLOCK_SLACK_NS, checks
from rover.devices.camera.keys import CameraKeys
from rover.devices.keys import DeviceKeys
from rover.devices.meanwhile import FAILURES
from rover.devices.readings import Fault, Frame, Reading
from rover.errors import in_short, in_words
from rover.session.driver import checked
from rover.testing.driver import DriverUnderTest
from rover.testing.trial import AtWork, Poll, reports_of, seconds_of_trial
from rover.testing.watch import ContractError, Watch, watched
from rover.vision.detector import FrameWatch

TRIES = 3
"""What a busy computer alone can spoil is tried again."""
LOOP_SHARE = 0.5
FEWEST, MOST = 0.5, 2.0
"""A device reports so many times its stated rate at least, and at most."""


def check_poll_never_waits(subject: DriverUnderTest) -> None:
    """`poll` returns at once, whether something has come in or not.

    Everything waits meanwhile: stop input, limits, commands. After 250 ms without a command the wheels stand still.
    """
    if not subject.reports:
        return
    limit_s, period_s = subject.robot.limits.command_lasts, 1.0 / subject.robot.loop
    why = ""
    for _ in range(TRIES):
        seconds = [poll.seconds for poll in reports_of(subject)]
        if max(seconds) > limit_s:
            why = f"poll() took {max(seconds):.2g} s; after {limit_s:g} s without a command the wheels stand still"
        elif sum(seconds) > LOOP_SHARE * period_s * len(seconds):
            why = f"poll() takes {sum(seconds) / len(seconds):.2g} s of a loop's step of {period_s:g} s"
        else:
            return
    raise ContractError(f"{why}; wait in a thread of the driver's own, and hand over what has come in")


def check_poll_recovers(subject: DriverUnderTest) -> None:
    """After a `poll` that raises, good ones follow: from the same driver, or once closed from another one.

    Most failures are hiccups of a bus or a cable. The runtime polls again, then closes the driver and makes it anew.
    """
    if not subject.reports:
        return

    def work(watch: Watch) -> str:
        at_work = AtWork(subject, watch)
        polls = list(at_work.polls_for(seconds_of_trial(subject)))
        why = next((in_words(poll.error) for poll in polls if poll.error is not None), "")
        if not why or _reports_again(at_work):
            at_work.close()
            return ""
        with suppress(*FAILURES):
            at_work.close()
        return "" if _reports_again(AtWork(subject, watch)) else why

    if why := watched(work):
        raise ContractError(
            f"after a poll() that raised {why} nothing is reported any more, by a driver made anew neither; let go of "
            "what was held before the exception leaves"
        )


def _reports_again(at_work: AtWork) -> bool:
    try:
        return bool(at_work.polls_to_a_reading())
    except ContractError:
        return False


def check_poll_returns_readings(subject: DriverUnderTest) -> None:
    """`poll` returns a list of `Reading`, empty when nothing has come in; their times and numbers are whole.

    Anything else counts as a failure of the driver, and the device is faulty.
    """
    for poll in _reports(subject):
        if poll.error is not None:
            continue
        try:
            for one in poll.answer:
                checked(one)
        except TypeError as error:
            if isinstance(poll.answer, (list, tuple)):
                raise ContractError(str(error)) from error
            raise ContractError(
                f"poll() returned {in_short(poll.answer)}; return a list, empty when nothing has come in"
            ) from error


def check_times_do_not_run_ahead(subject: DriverUnderTest) -> None:
    """A reading was taken before it is returned, by the host's monotonic clock, and not longer ago than is of use.

    What the robot did at that time is looked up; a report from the future is left out, and an old one is overdue.
    """
    readings = _readings(subject)
    for poll, reading in readings:
        if reading.taken_ns > poll.answered_ns + CLOCK_SLACK_NS:
            ahead_s = (reading.taken_ns - poll.answered_ns) * 1e-9
            raise ContractError(
                f"a reading was taken {ahead_s:.3g} s after it was returned; take what was passed to poll(), or "
                "time.monotonic_ns(); wall time and a device's own time are others"
            )
    if readings:
        age_s = median(poll.asked_ns - reading.taken_ns for poll, reading in readings) * 1e-9
        if age_s > subject.device.overdue_after:
            raise ContractError(
                f"readings were taken {age_s:.3g} s before they are returned, and after "
                f"{subject.device.overdue_after:g} s the device is overdue; is it another clock's time, or have "
                "they waited in a buffer?"
            )


def check_sequence_grows(subject: DriverUnderTest) -> None:
    """The sequence number grows from reading to reading, by one for each report of the device.

    So a reading that comes twice is known, and a gap tells that reports were lost.
    """
    for (_, earlier), (_, later) in pairwise(_readings(subject)):
        if later.sequence <= earlier.sequence:
            raise ContractError(
                f"after the reading with sequence {earlier.sequence} came one with {later.sequence}, which is left out "
                "as an old one; count on by one for each"
            )


def check_readings_are_in_order(subject: DriverUnderTest) -> None:
    """Readings come in the order in which they were taken, within a poll and from one to the next.

    Speeds and windows of time are worked out from one to the next.
    """
    for (_, earlier), (_, later) in pairwise(_readings(subject)):
        if later.taken_ns < earlier.taken_ns:
            back_s = (earlier.taken_ns - later.taken_ns) * 1e-9
            raise ContractError(f"a reading was taken {back_s:.3g} s before the one returned before it; oldest first")


def check_values_are_possible(subject: DriverUnderTest) -> None:
    """Values are of the device's type and within what can be, or faults that say in words what is wrong.

    They are held against what the robot file says of the device; one that cannot be makes it faulty.
    """
    faults, readings = [], [reading for _, reading in _readings(subject)]
    for value in (reading.value for reading in readings):
        if isinstance(value, Fault):
            faults.append(value.why)
        elif why := _why_impossible(value, subject):
            raise ContractError(f"it {why}")
    if faults and len(faults) == len(readings):
        raise ContractError(f"it reported nothing but faults: {in_short(faults[-1])}")


def check_frames_stay_as_they_are(subject: DriverUnderTest) -> None:
    """A picture that has been handed over is not written into any more.

    It is looked at in another thread while the next one is taken.
    """
    frames = [reading.value.image for _, reading in _readings(subject) if isinstance(reading.value, Frame)]
    if any(_share_memory(earlier, later) for earlier, later in pairwise(frames)):
        raise ContractError("two frames are in the same memory; hand over a copy, the first may still be looked at")


def check_it_reports_at_its_rate(subject: DriverUnderTest) -> None:
    """Reports come as often as the robot file's ``rate`` says, more or less, and never so late as to be overdue.

    Confirmations and sweeps count on the rate. A device that only reports changes cannot be told from one that is gone.
    """
    if not subject.reports:
        return
    why = ""
    for _ in range(TRIES):
        polls = reports_of(subject)
        taken = [reading.taken_ns * 1e-9 for poll in polls for reading in poll.readings]
        why = _why_not_its_rate([*taken, polls[-1].asked_ns * 1e-9], subject.device)
        if not why:
            return
    raise ContractError(why)


def _reports(subject: DriverUnderTest) -> Sequence[Poll]:
    return reports_of(subject) if subject.reports else ()


def _readings(subject: DriverUnderTest) -> list[tuple[Poll, Reading]]:
    """Return a trial's readings, each with the poll that returned it."""
    return [(poll, reading) for poll in _reports(subject) for reading in poll.readings]


def _why_impossible(value: Any, subject: DriverUnderTest) -> str:
    if isinstance(value, Frame) and isinstance(subject.device, CameraKeys):
        why = FrameWatch(subject.device).misshapen(value.image)
        return f"hands over frames that cannot be read: {why}" if why else ""
    return checks(subject.robot)[subject.name](value)


def _share_memory(one: Any, other: Any) -> bool:
    import numpy

    return bool(numpy.may_share_memory(one, other))


def _why_not_its_rate(times: Sequence[float], device: DeviceKeys) -> str:
    """Return what is wrong with the times (s) at which readings were taken, the trial's end last; '' if nothing is."""
    longest, rate = max(later - earlier for earlier, later in pairwise(times)), device.rate
    if longest > device.overdue_after:
        return (
            f"{longest:.3g} s passed without a report, and after {device.overdue_after:g} s the device is overdue; "
            "report how things are again and again, also when nothing has changed"
        )
    found = (len(times) - 2) / (times[-2] - times[0]) if len(times) > 2 else 1.0 / (times[-1] - times[0])
    if FEWEST * rate <= found <= MOST * rate:
        return ""
    return f"it reports {found:.3g} times a second, and the robot file says 'rate: {rate:g} Hz'; correct one of them"
