"""What the stand-ins of devices share: reports in time, commands, and what faults do to both."""

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, Final

from rover.bench.bench import Bench
from rover.bench.draws import stream
from rover.bench.faults import Trouble
from rover.bench.report_faults import Lagging
from rover.devices.protocols import DriverContext
from rover.devices.readings import Reading
from rover.files.fault_table import ReportsFault

NOTHING: Final = ReportsFault()
"""What is wrong with a healthy device."""


def bench_of(context: DriverContext) -> Bench:
    """Return the bench that a stand-in is fed by.

    Raises:
        ValueError: there is none.
    """
    if not isinstance(context.bench, Bench):
        raise ValueError("a simulated driver works in a rehearsal only; name a real driver in the robot file")
    return context.bench


class Reporter:
    """What the simulated sensors share: sampling, faults, latency and order of arrival. Any thread may poll."""

    FAMILY: ClassVar[str]

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._bench = bench_of(context)
        self._on_link = options.get("link") is not None
        self._latency_ns = 0
        self._sequence = 0
        self._waiting: deque[tuple[int, Reading]] = deque()
        name = context.name or self.FAMILY
        self._keys: Any = context.robot.devices.fitted()[name]
        # The one that a family is named for draws as it always did; each further one draws for itself.
        self._seed = self._bench.seed if name == self.FAMILY else f"{self._bench.seed}/{name}"
        self._trouble = self._bench.schedule.of(name)
        self._line_trouble = self._bench.schedule.of("link") if self._on_link else Trouble()
        self._fault_draws = stream(self._bench.seed, f"faults of {name}")
        self._last: Any = None
        self._lagging: Lagging[Any] = Lagging()
        self._bench.watch(options["rate"], self._sample)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Advance the bench to ``now_ns``; return the reports that have arrived by then, oldest first."""
        if now_ns >= self._bench.next_ns:
            self._bench.advance(now_ns)
        waiting = self._waiting
        if not waiting or waiting[0][0] > now_ns:
            return ()
        arrived = [waiting.popleft()[1]]
        while waiting and waiting[0][0] <= now_ns:
            arrived.append(waiting.popleft()[1])
        return arrived

    def close(self) -> None:
        """Measure no more."""
        self._bench.unwatch(self._sample)

    def _sample(self, now_ns: int) -> None:
        fault, line_fault = self._trouble.now, self._line_trouble.now
        if fault is not None or line_fault is not None:
            self._sample_with(fault or NOTHING, line_fault or NOTHING, now_ns)
            return
        reading = Reading(now_ns, self._sequence, self._measure(now_ns))
        self._last = reading.value
        self._sequence += 1
        if self._on_link:
            self._waiting.append((self._bench.line.arrival_ns(now_ns), reading))
        else:
            self._waiting.append((now_ns + self._latency_ns, reading))

    def _sample_with(self, fault: ReportsFault, line_fault: ReportsFault, now_ns: int) -> None:
        if fault.rebooting or line_fault.rebooting:
            self._restart()
        elif not fault.silent:
            is_stuck = fault.stuck and self._last is not None
            value = self._again() if is_stuck else self._measure_with(fault, now_ns)
            if value is None:
                return
            if fault.lag:
                value = self._lagging.says(value, fault.lag, now_ns)
            self._last = value
            reading = Reading(now_ns, self._sequence, value)
            self._sequence += 1
            if line_fault.silent or self._is_garbled(fault) or self._is_garbled(line_fault):
                return
            late_ns = round((fault.late + line_fault.late) * 1e9)
            usual_ns = self._bench.line.arrival_ns(now_ns) if self._on_link else now_ns + self._latency_ns
            self._waiting.append((usual_ns + late_ns, reading))

    def _is_garbled(self, fault: ReportsFault) -> bool:
        return fault.garbled > 0.0 and self._fault_draws.random() < fault.garbled

    def _measure(self, now_ns: int) -> Any:
        """Return the value at ``now_ns``."""
        raise NotImplementedError

    def _measure_with(self, fault: ReportsFault, now_ns: int) -> Any:
        """Return the value at ``now_ns`` with what is wrong with the device itself; None for no report."""
        return self._measure(now_ns)

    def _again(self) -> Any:
        """Return the last value again, of a device that is stuck; None for no report."""
        return self._last

    def _restart(self) -> None:
        """Forget, at each sample of a reboot, what the device has kept since its start."""


class Commanded:
    """What is wrong with a device that is commanded, or with the line on which commands come."""

    def __init__(self, name: str, options: Mapping[str, Any], bench: Bench) -> None:
        self._own = bench.schedule.of(name)
        self._line = bench.schedule.of("link") if options.get("link") is not None else Trouble()
        self._draws = stream(bench.seed, f"faults of commands to {name}")

    @property
    def is_well(self) -> bool:
        """Nothing is."""
        return self._own.now is None and self._line.now is None

    @property
    def is_stuck(self) -> bool:
        """It goes on with what it was told last."""
        return self._own.now is not None and self._own.now.stuck

    @property
    def is_rebooting(self) -> bool:
        """Who should obey, on the other end of the line, is starting anew."""
        return self._line.now is not None and self._line.now.rebooting

    def hears(self) -> bool:
        """Tell whether the next command arrives."""
        own, line = self._own.now or NOTHING, self._line.now or NOTHING
        lost = line.garbled > 0.0 and self._draws.random() < line.garbled
        return not (own.silent or own.rebooting or line.silent or line.rebooting or lost)
