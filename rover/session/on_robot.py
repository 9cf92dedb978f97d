"""`rover run`: the core on the real robot, in real time, everything recorded, wheels at zero whatever ends it."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rover.activities.activity import Activity
from rover.activities.registry import specs
from rover.behaviour.vocabulary import SENSORS
from rover.core import Action, Core, StepReadings, StepRecord
from rover.devices.readings import Reading
from rover.events import Event, Health, HealthChange, Note, Stop
from rover.guard.channel import default_folder
from rover.guard.protocol import Phase
from rover.readiness.before_start import Facts, machine
from rover.readiness.start import NOT_ENABLED, Say, Stage, Start
from rover.session import saved_state, service
from rover.session.assembly import Assembly
from rover.session.guard_watch import GuardWatch
from rover.session.hardware import RealDevices, RunError, real_devices, simulated_in, with_ports
from rover.session.interruption import Interruption
from rover.session.operator import Operator
from rover.session.pacing import Pace
from rover.session.panel import Standing
from rover.session.recorder import Recorder, run_header
from rover.session.result import Result, ShowProgress
from rover.session.saved_state import StateError

PROGRESS_EVERY_NS = 2_000_000_000
BEAT_EVERY_NS = 1_000_000_000
BY_THE_MARKER = "taking the errand up again: the tray's marker is sighted before anything else"
FROM_THE_START = "taking the errand up again, without a marker to sight: the robot has to stand at the errand's start"
SKIPPED_NOTED_EVERY_NS = 10_000_000_000


@dataclass(frozen=True)
class RunOptions:
    """What the command line says besides the errand.

    Attributes:
        record: file of the run record.
        guard: folder of the motor guard.
        enable_motion: a person has enabled motion already.
        seed: of the behaviour's random draws.
        ports: other ports than the robot file's, by link.
        saved: state of the run to take up again, None for a fresh start.
    """

    record: Path
    guard: Path
    enable_motion: bool = False
    seed: int = 1
    ports: Mapping[str, str] | None = None
    saved: Mapping[str, Any] | None = None


def options_of(assembly: Assembly, errand: Path, record: Path, given: Mapping[str, Any]) -> RunOptions:
    """Return the options of a run of an errand file, from those of the command line by name.

    Raises:
        RunError: one has not the form that is due.
        StateError: the state to resume cannot be used.
    """
    state, saved = given["state"], None
    if state is not None:
        path = Path(state) if state else saved_state.newest(record.parent, errand)
        saved = saved_state.read(path, assembly.errand.errand)
    ports = dict(_pair(text) for text in given["ports"])
    return RunOptions(record, given["guard"] or default_folder(), given["enable_motion"], given["seed"], ports, saved)


def _pair(text: str) -> tuple[str, str]:
    name, equals, path = text.partition("=")
    if not (name and equals and path):
        raise RunError(f"--port {text}: write a link of the robot file and its port, such as --port main=/dev/ttyUSB1")
    return name, path


@dataclass(frozen=True)
class Ended:
    """How a run ended.

    Attributes:
        exit_code: 0 done, 1 failed, 130 or 143 ended by a signal.
        remarks: lines on steps skipped and on what could not be written.
    """

    result: Result
    exit_code: int
    remarks: tuple[str, ...]


def run_errand(
    assembly: Assembly, activities: Mapping[str, type[Activity]], options: RunOptions, say: Say, progress: ShowProgress
) -> Ended:
    """Carry an errand out on the real robot, until it ends or a signal ends it.

    Raises:
        RunError: it cannot begin; nothing has moved.
        StateError: the saved state does not belong to this errand.
        LoadError, RecordError: a driver or the record cannot be had.
    """
    robot = with_ports(assembly.robot, options.ports or {})
    if simulated := simulated_in(robot):
        raise RunError(
            f"{', '.join(simulated)}: driver 'simulated' works in a rehearsal only; name a real one in the robot file"
        )
    assembly = replace(assembly, robot=robot)
    core = _core(assembly, activities, options)
    recorder = None
    with Interruption() as interruption:
        try:
            with (
                real_devices(robot, options.guard, assembly.errand.kinds, options.seed) as devices,
                Operator(robot.panel, devices.client) as operator,
            ):
                header = run_header(core, assembly, options.seed, options.saved)
                recorder = Recorder(core, assembly, options.record, header, devices.drivers.made("camera"))
                start = Start(devices.client, operator.terminal, say, enable=options.enable_motion)
                if options.saved is not None:
                    say(BY_THE_MARKER if core.fix_due else FROM_THE_START)
                run = Run(core, devices, operator, recorder, start)
                run.loop(interruption, say, progress)
        except BaseException as error:
            if recorder is not None:  # by now the wheels are at zero
                recorder.fail(error)
            raise
        finally:
            service.notify(service.STOPPING)
        result = recorder.finish(*_outcome(core), run.skipped)
        code = interruption.exit_code or (0 if result.result == "done" else 1)
    return Ended(result, code, (*_remarks(run, options), *recorder.troubles))


def _outcome(core: Core) -> tuple[str, str]:
    ending = core.engine.ending
    return ("stopped", "ended by a signal") if ending is None else (ending.result, ending.reason)


def _remarks(run: "Run", options: RunOptions) -> list[str]:
    lines = [f"{run.skipped} steps were skipped: the computer was too slow"] if run.skipped else []
    if not run.is_over:
        lines.append(f"to take it up again: rover run ... --resume={saved_state.path_beside(options.record)}")
    return lines


def _core(assembly: Assembly, activities: Mapping[str, type[Activity]], options: RunOptions) -> Core:
    try:
        return Core(assembly.robot, assembly.errand, assembly.graph, activities, options.seed, options.saved)
    except (KeyError, TypeError, ValueError) as error:
        if options.saved is None:
            raise
        raise StateError(
            f"the saved state does not fit this errand ({error!r}); was its tray or its field changed? Start afresh"
        ) from error


class Run:
    """The loop of one run. It steps the core from the first moment on, stopped until motion is enabled.

    Attributes:
        skipped: steps left out because they came too late.
    """

    def __init__(self, core: Core, devices: RealDevices, operator: Operator, recorder: Recorder, start: Start) -> None:
        self.skipped = 0
        self._core, self._client, self._drivers = core, devices.client, devices.drivers
        self._operator, self._recorder, self._start = operator, recorder, start
        self._watch = GuardWatch(devices.client.session)
        self._robot = core.known.robot
        self._due: list[Action] = [Action("stop", NOT_ENABLED)]
        self._reports = LatestReports()
        self._guard_told_ns = self._guard_words = 0
        self._asking = _states_that_ask(core)

    def loop(self, interruption: Interruption, say: Say, progress: ShowProgress) -> None:
        """Step until the errand ends or a signal comes; then the wheels are told to stand, before all else."""
        pace, heartbeat = Pace(self._robot.loop), Heartbeat()
        began_ns = pace.wait()
        progress_ns = skipped_ns = 0
        try:
            while self._core.engine.ending is None and interruption.number is None:
                now_ns = self.step(pace.wait(), began_ns, say)
                if pace.skipped != self.skipped and now_ns >= skipped_ns:
                    skipped_ns = now_ns + SKIPPED_NOTED_EVERY_NS
                    self._note_skipped(pace.skipped)
                heartbeat.beat(now_ns, self.standing)
                if now_ns >= progress_ns:
                    progress_ns = now_ns + PROGRESS_EVERY_NS
                    progress((now_ns - began_ns) * 1e-9, self.standing, self._recorder.delivered)
        finally:
            self._drivers.close()
            self._note_skipped(pace.skipped)

    @property
    def is_over(self) -> bool:
        """The errand is done: nothing is left to take up again."""
        ending = self._core.engine.ending
        return ending is not None and ending.result == "done"

    @property
    def standing(self) -> str:
        """What the robot is at, for progress line and service manager."""
        core = self._core
        if self._start.stage is not Stage.ENABLED:
            return str(self._start.stage.value)
        if core.stop.stopped:
            return f"stopped: {core.stop.cause}"
        return str(core.engine.path) or "sighting the marker"

    def step(self, woken_ns: int, began_ns: int, say: Say) -> int:
        """Take one step of a loop that began at a time, and return the step's own time."""
        self._client.poll()
        new = self._with_guard(self._drivers.poll(woken_ns))
        now_ns = time.monotonic_ns()  # after polling: no reading can be younger than its step
        actions = [*self._take_due(), *self._watch.actions(self._client.state, now_ns)]
        if self._start.stage is Stage.ENABLED:
            actions += self._operator.actions(self._watch)
        given = StepReadings(now_ns, new, self._drivers.faults(), actions)
        decided = self._core.step(given)
        self._drivers.apply(decided)
        self._recorder.take(given, decided)
        self._reports.take(given, decided)
        self._latch_at_guard()
        self._advance_start(now_ns, (now_ns - began_ns) * 1e-9)
        self._operator.panel.show(self._shown(decided), now_ns)
        for line in map(told, decided.events):
            if line:
                say(line)
        return now_ns

    def _take_due(self) -> list[Action]:
        due, self._due = self._due, []
        return due

    def _with_guard(self, new: list[tuple[str, Reading]]) -> list[tuple[str, Reading]]:
        """Add what the guard said of itself, if that is new: the core passes over it, the record keeps it."""
        state = self._client.state
        if state is None or state.now_ns == self._guard_told_ns:
            return new
        self._guard_told_ns = state.now_ns
        self._guard_words += 1
        return sorted([*new, ("guard", Reading(state.now_ns, self._guard_words, state))], key=lambda pair: pair[0])

    def _latch_at_guard(self) -> None:
        """Have a stop that the core latched by itself latched by the guard too."""
        cause = self._core.stop.cause
        if cause is not None and self._watch.phase is Phase.RUNNING:
            self._client.stop(cause)

    def _advance_start(self, now_ns: int, seconds: float) -> None:
        start, known = self._start, self._reports
        match start.stage:
            case Stage.CHECKING:
                signals = self._core.known.signals
                healthy = frozenset(family for family in SENSORS if getattr(signals, f"{family}_ok"))
                found = machine(self._recorder.folder)
                start.look(Facts(self._robot, seconds, healthy, known.latest, known.why, found))
            case Stage.TRYING_STOP:
                start.see_stop_input(known.latest["stop_input"].closed)
            case Stage.WAITING:
                start.listen(now_ns)
            case Stage.ENABLED:
                start.confirm(self._watch, now_ns)

    def _note_skipped(self, skipped: int) -> None:
        if skipped != self.skipped:
            self._recorder.note("loop", f"{skipped - self.skipped} steps skipped: the computer was too slow")
            self.skipped = skipped

    def _shown(self, decided: StepRecord) -> Standing:
        core = self._core
        waiting = self._start.stage is not Stage.ENABLED or decided.state in self._asking
        return Standing(
            stopped=core.stop.stopped and self._start.stage is Stage.ENABLED,
            fault=bool(self._reports.sick),
            held_back=bool(core.known.signals.motion_held_back),
            waiting=waiting,
            moving=any(decided.drive[:2]),
        )


def told(event: Event) -> str:
    """Return what the operator is told of an event, mostly nothing: a stop, a question of the behaviour."""
    match event:
        case Stop(cause) if cause != NOT_ENABLED:
            return f"stopped: {cause}; r resets, then g goes on"
        case Note("question", text):
            return f"asked: {text}; y is yes, n is no"
    return ""


class LatestReports:
    """What has been seen of the devices.

    Attributes:
        latest: the last value of each.
        sick: those that are not ok.
        why: why one is faulty.
    """

    def __init__(self) -> None:
        self.latest: dict[str, Any] = {}
        self.sick: set[str] = set()
        self.why: dict[str, str] = {}

    def take(self, given: StepReadings, decided: StepRecord) -> None:
        """Take a step in."""
        self.latest.update((family, reading.value) for family, reading in given.new)
        for event in decided.events:
            if isinstance(event, HealthChange):
                self.why[event.device] = event.why
                (self.sick.discard if event.health is Health.OK else self.sick.add)(event.device)


def _states_that_ask(core: Core) -> frozenset[str]:
    known = specs()
    states = core.engine.graph.states.values()
    return frozenset(
        state.path for state in states if state.activity in known and known[state.activity].waits_for_operator
    )


class Heartbeat:
    """Tells the service manager, from the loop itself, that it lives and what it is at."""

    def __init__(self) -> None:
        limit_ns = service.watchdog_limit_ns()
        self._every_ns = BEAT_EVERY_NS if limit_ns is None else min(BEAT_EVERY_NS, limit_ns // 2)
        self._due_ns = 0
        self._is_ready = False

    def beat(self, now_ns: int, standing: str) -> None:
        """Send a word if one is due; the first one says too that the start is over."""
        if now_ns < self._due_ns:
            return
        self._due_ns = now_ns + self._every_ns
        first = () if self._is_ready else (service.READY,)
        self._is_ready = True
        service.notify(*first, service.ALIVE, service.status(standing))
