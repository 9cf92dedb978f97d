"""A driver at work for a while, called as the robot's loop calls it."""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from rover.devices.meanwhile import FAILURES
from rover.devices.readings import Reading
from rover.errors import in_short, in_words
from rover.testing.driver import Clock, DriverUnderTest
from rover.testing.watch import NothingReportedError, Watch, watched

MADE_WITHIN_S, CLOSED_WITHIN_S, HANGS_AFTER_S = 10.0, 10.0, 2.0
"""A constructor may wait for its hardware, and closing for a thread; a poll or a command may wait for nothing."""
FIRST_WITHIN_S = 10.0
"""The start of a run waits so long for a device's first report."""
REPORTS, LEAST_S = 5, 1.0
"""A trial lasts for so many reports at the device's rate, and so long at least."""


@dataclass(frozen=True)
class Poll:
    """One call of `poll`: the time passed to it and the time after it (ns), how long it took (s), what came of it."""

    asked_ns: int
    answered_ns: int
    seconds: float
    answer: Any
    error: BaseException | None = None

    @property
    def readings(self) -> Sequence[Reading]:
        """The readings in the answer; whatever else is in it is left to the check of that."""
        try:
            return [one for one in self.answer or () if isinstance(one, Reading)]
        except FAILURES:
            return ()


class AtWork:
    """A driver that has been made, in the thread that watches over its calls."""

    def __init__(self, subject: DriverUnderTest, watch: Watch) -> None:
        self.clock: Clock = subject.new_clock()
        self.driver, _ = watch.call("the constructor", MADE_WITHIN_S, subject.make)
        self._subject, self._watch = subject, watch
        self._period_ns = round(1e9 / subject.robot.loop)
        self._due_ns = self.clock.now_ns()

    def next_step(self) -> int:
        """Wait for the loop's next step, and return its time."""
        self._due_ns = max(self._due_ns + self._period_ns, self.clock.now_ns())
        self.clock.sleep_until(self._due_ns)
        self._subject.hardware(self.clock.now_ns())
        return self.clock.now_ns()

    def poll(self) -> Poll:
        """Poll in the loop's next step."""
        now_ns, error, answer, seconds = self.next_step(), None, None, 0.0
        try:
            answer, seconds = self._watch.call("poll()", HANGS_AFTER_S, lambda: self._poll(now_ns))
        except FAILURES as raised:
            error = raised
        return Poll(now_ns, self.clock.now_ns(), seconds, answer, error)

    def _poll(self, now_ns: int) -> Any:
        answer = self.driver.poll(now_ns)
        return list(answer) if isinstance(answer, Iterator) else answer

    def apply(self, command: Any) -> float:
        """Give a command in the loop's next step; return how long it took (s).

        Raises:
            Exception: whatever the driver raises.
        """
        now_ns = self.next_step()
        return self._watch.call("apply()", HANGS_AFTER_S, lambda: self.driver.apply(command, now_ns))[1]

    def polls_for(self, seconds: float) -> Iterator[Poll]:
        """Poll for a while (s by the driver's clock)."""
        end_ns = self.clock.now_ns() + round(seconds * 1e9)
        while self.clock.now_ns() < end_ns:
            yield self.poll()

    def polls_to_a_reading(self) -> list[Poll]:
        """Poll until something is reported; return all polls, the one with the report last.

        Raises:
            ContractError: nothing is, in good time.
        """
        polls = []
        for poll in self.polls_for(FIRST_WITHIN_S):
            polls.append(poll)
            if poll.readings:
                return polls
        raise NothingReportedError(f"nothing was reported within {FIRST_WITHIN_S:g} s{_why(polls)}; no run would start")

    def close(self) -> None:
        """Close it."""
        self._watch.call("close()", CLOSED_WITHIN_S, self.driver.close)


def _why(polls: Sequence[Poll]) -> str:
    """Return what is known of polls without a reading."""
    for poll in reversed(polls):
        if poll.error is not None:
            return f", and poll() raised {in_words(poll.error)}"
        if poll.answer is None or poll.answer:
            return f", and poll() returned {in_short(poll.answer)}"
    return ""


def seconds_of_trial(subject: DriverUnderTest) -> float:
    """Return how long a trial lasts."""
    return max(LEAST_S, REPORTS / subject.device.rate)


def reports_of(subject: DriverUnderTest) -> list[Poll]:
    """Return the polls of a trial, from the first with a report on.

    Raises:
        ContractError: there is no report, or a call hangs.
    """

    def work(watch: Watch) -> list[Poll]:
        at_work = AtWork(subject, watch)
        try:
            first = at_work.polls_to_a_reading()[-1]
            return [first, *at_work.polls_for(seconds_of_trial(subject))]
        finally:
            with suppress(*FAILURES):
                at_work.close()

    return watched(work)
