"""The fault lines of a bench file in time: which are on, and when the next one begins or ends."""

import math
from collections.abc import Callable, Iterable, Mapping
from random import Random

from rover.bench.draws import NEVER_NS, stream
from rover.files.fault_table import ReportsFault, RobotFault, Value
from rover.files.faults import AtRandom, AtTime, OnEntering, ScheduledFault

SHORTEST_NS = 10_000_000
"""Between two that come by chance lies a step of the bench at least."""
Undo = Callable[[], None] | None
Happen = Callable[[ScheduledFault], Undo]
"""Has something happen on the floor; what it returns is called when the line's time is over."""


def _ns(seconds: float) -> int:
    return NEVER_NS if math.isinf(seconds) else round(min(seconds * 1e9, NEVER_NS))


class Trouble:
    """What is wrong with one device's reports.

    Attributes:
        now: what is; None while nothing is.
        since_ns: when it began to be something.
        boots: how many reboots have begun.
    """

    def __init__(self) -> None:
        self.now: ReportsFault | None = None
        self.since_ns = 0
        self.boots = self.since_ns = 0

    def seconds_at(self, now_ns: int) -> float:
        """Return how long something has been wrong at a time."""
        return (now_ns - self.since_ns) * 1e-9


class Course:
    """One line: when it begins and ends, again and again where it says so.

    Attributes:
        due_ns: when it begins next, or ends.
    """

    def __init__(self, line: ScheduledFault, draws: Random) -> None:
        self.line = line
        self.is_on = False
        self.due_ns = _ns(line.when.seconds) if isinstance(line.when, AtTime) else NEVER_NS
        self._draws = draws
        self._entries = 0
        self._undo: Undo = None
        if isinstance(line.when, AtRandom):
            self.due_ns = self._by_chance(0, line.when.mean)

    def go_on(self, happen: Happen) -> None:
        """Begin or end, at the time when that is due."""
        line, now_ns = self.line, self.due_ns
        if not self.is_on:
            self._undo = happen(line) if line.fault.happens else None
            if line.lasts > 0.0:
                self.is_on = True
                self.due_ns = NEVER_NS if math.isinf(line.lasts) else now_ns + _ns(line.lasts)
                return
        self.is_on = False
        if self._undo is not None:
            self._undo()
        self._undo = None
        self.due_ns = self._by_chance(now_ns, line.when.mean) if isinstance(line.when, AtRandom) else NEVER_NS

    def note_entries(self, entries: Mapping[str, int], now_ns: int) -> None:
        """Begin at ``now_ns`` if the state that the line names has just been entered; while it is on, it goes on."""
        when = self.line.when
        number = entries.get(when.state, 0) if isinstance(when, OnEntering) else 0
        if not isinstance(when, OnEntering) or number == self._entries:
            return
        is_meant = self._entries == 0 if when.every == 0 else number // when.every > self._entries // when.every
        self._entries = number
        if is_meant and not self.is_on:
            self.due_ns = now_ns

    def _by_chance(self, now_ns: int, mean: float) -> int:
        return now_ns + max(SHORTEST_NS, _ns(self._draws.expovariate(1.0 / mean)))


class Schedule:
    """The faults of a rehearsal.

    Attributes:
        robot: what is wrong with the robot's parts now.
        next_ns: when something begins or ends next.
        waits_for_states: some line begins on entering a state.
    """

    def __init__(self, lines: Iterable[ScheduledFault], seed: int) -> None:
        self._courses = [Course(line, stream(seed, f"fault {at}")) for at, line in enumerate(lines)]
        self._on: list[ScheduledFault] = []
        self._troubles: dict[str, Trouble] = {}
        self.robot = RobotFault()
        self.waits_for_states = any(isinstance(course.line.when, OnEntering) for course in self._courses)
        self.next_ns = self._next_ns()

    def of(self, device: str) -> Trouble:
        """Return what is wrong with a device's reports (or ``link``'s), always the same object."""
        return self._troubles.setdefault(device, Trouble())

    def go_on(self, now_ns: int, happen: Happen) -> None:
        """Have begin and end what is due by ``now_ns``, in the order in which it is due, then in that of the lines."""
        while self.next_ns <= now_ns:
            course = min(self._courses, key=lambda one: one.due_ns)
            course.go_on(happen)
            if course.is_on:
                self._on.append(course.line)
                if course.line.fault.reports and "rebooting" in course.line.fault.reports:
                    self.of(course.line.device).boots += 1
            elif course.line in self._on:
                self._on.remove(course.line)
            self.next_ns = self._next_ns()
        self._take_stock(now_ns)

    def note_entries(self, entries: Mapping[str, int], now_ns: int) -> None:
        """Take note of how often each state has been entered by now."""
        for course in self._courses:
            course.note_entries(entries, now_ns)
        self.next_ns = self._next_ns()

    def _next_ns(self) -> int:
        return min((course.due_ns for course in self._courses), default=NEVER_NS)

    def _take_stock(self, now_ns: int) -> None:
        """Work out anew what is wrong; of two that set the same, the one that began last counts."""
        self.robot = RobotFault()
        unwell = {device for device, trouble in self._troubles.items() if trouble.now is not None}
        for trouble in self._troubles.values():
            trouble.now = None
        for line in self._on:
            if line.fault.robot:
                _set(self.robot, line.fault.robot, line.given)
            if line.fault.reports:
                trouble = self.of(line.device)
                trouble.now = trouble.now or ReportsFault()
                if line.device not in unwell:
                    trouble.since_ns = now_ns
                _set(trouble.now, line.fault.reports, line.given)


def _set(fault: ReportsFault | RobotFault, values: Mapping[str, Value], given: float) -> None:
    for name, value in values.items():
        if callable(value):
            setattr(fault, name, value(given))
        else:  # apart, since compiled code would make a number of a truth that may also be one
            setattr(fault, name, value)
