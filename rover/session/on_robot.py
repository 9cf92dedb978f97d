"""`rover run`: the core on the real robot, in real time, everything recorded, wheels at zero whatever ends it."""

import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rover.activities.activity import Activity
from rover.activities.registry import specs
from rover.core import Action, Core, StepReadings, StepRecord
from rover.devices.panel.indicator import Indication
from rover.errand.saving import StateMismatchError
from rover.events import Event, Health, HealthChange, Note, Stop
from rover.guard.client import default_folder
from rover.guard.protocol import State
from rover.session import loop, saved_state, service
from rover.session.assembly import Assembly
from rover.session.clocks import Pace
from rover.session.guard_watch import SILENT, GuardWatch
from rover.session.hardware import RobotDevices, RunError, open_devices, simulated_in, with_ports
from rover.session.header import robot_header
from rover.session.interruption import Interruption
from rover.session.motion_start import NOT_ENABLED, DeviceStates, MakeStart, Say
from rover.session.operator import OperatorControls, indication_of
from rover.session.recorder import RunRecorder
from rover.session.result import Result, ShowProgress
from rover.session.saved_state import StateError, StateKeeper
from rover.session.watched import BEGUN, NoPage, Page, Waiting
from rover.stopping import LATCHED, Phase

BY_THE_MARKER = "taking the errand up again: the tray's marker is sighted before anything else"
FROM_THE_START = "taking the errand up again, without a marker to sight: the robot has to stand at the errand's start"
SKIPPED_NOTED_EVERY_NS = 10_000_000_000


@dataclass(frozen=True)
class RunOptions:
    """What the command line says besides the errand.

    Attributes:
        record: file of the run record.
        guard: folder of the motor guard.
        seed: of the behaviour's random draws.
        ports: other ports than the robot file's, by link.
        saved: state of the run to take up again, None for a fresh start.
    """

    record: Path
    guard: Path
    seed: int = 1
    ports: Mapping[str, str] | None = None
    saved: Mapping[str, Any] | None = None


def options_of(assembly: Assembly, errand: Path, record: Path, given: Mapping[str, Any]) -> RunOptions:
    """Return the options of a run of an errand file, from those of the command line by name.

    Raises:
        StateError: the state to resume cannot be used.
    """
    state, saved = given["state"], None
    if state is not None:
        path = Path(state) if state else saved_state.newest(record.parent, errand)
        saved = saved_state.read(path, assembly.errand)
    guard = given["guard"] or default_folder()
    return RunOptions(record, guard, given["seed"], given["ports"], saved)


@dataclass(frozen=True)
class RunSummary:
    """How a run on the robot ended.

    Attributes:
        exit_code: 0 done, with nothing left or only believed, 1 otherwise, 130 or 143 ended by a signal.
        remarks: lines on steps skipped and on what could not be written.
    """

    result: Result
    exit_code: int
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Console:
    """What persons take part by: how the run is started, lines, a progress line, a page; and what tells others."""

    make_start: MakeStart
    say: Say
    progress: ShowProgress
    tell: loop.Tell = loop.to_nobody
    page: Page = field(default_factory=NoPage)


def run_errand(
    assembly: Assembly, activities: Mapping[str, type[Activity]], options: RunOptions, console: Console
) -> RunSummary:
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
    with Interruption() as interruption, ExitStack() as closing:
        closing.callback(service.notify, service.STOPPING)
        devices = closing.enter_context(open_devices(robot, options.guard, assembly.errand.kinds, options.seed))
        controls = OperatorControls(robot.panel, devices.client, console.page)
        closing.callback(controls.close)
        closing.callback(devices.drivers.close)  # the wheels before all else
        if options.saved is not None:
            console.say(BY_THE_MARKER if core.fix_due else FROM_THE_START)
        header = robot_header(core, assembly, options.seed, options.saved)
        recorder = _recorder(core, assembly, options, devices, header)
        console.page.begin(core, header)
        host = RobotHost(core, devices, controls, recorder, console, interruption, closing)
        result = loop.run(core, host, recorder, console.progress, console.tell)
        code = interruption.exit_code or (0 if result.is_clean else 1)
    return RunSummary(
        *(result, code),
        (
            *devices.drivers.remarks,
            *recorder.unwell.values(),
            *_remarks(host.skipped, result, options),
            *recorder.troubles,
        ),
    )


def _core(assembly: Assembly, activities: Mapping[str, type[Activity]], options: RunOptions) -> Core:
    try:
        return Core(assembly.robot, assembly.errand, assembly.graph, activities, options.seed, options.saved)
    except StateMismatchError as error:
        raise StateError(
            f"the saved state does not fit this errand: {error}; was its tray or its field changed? Start afresh"
        ) from error


def _recorder(
    core: Core, assembly: Assembly, options: RunOptions, devices: RobotDevices, header: Mapping[str, str]
) -> RunRecorder:
    keeper, began_ns = StateKeeper(saved_state.path_beside(options.record), assembly.errand.errand), time.monotonic_ns()
    return RunRecorder(
        *(core, options.record, header),
        drivers=devices.drivers,
        links=devices.links,
        began_ns=began_ns,
        keeper=keeper,
    )


def _remarks(skipped: int, result: Result, options: RunOptions) -> list[str]:
    lines = [f"{skipped} steps were skipped: the computer was too slow"] if skipped else []
    if result.result != "done":
        lines.append(f"to take it up again: rover run ... --resume={saved_state.path_beside(options.record)}")
    return lines


class RobotHost(loop.Host):
    """The robot as host of the core. The core is stepped from the first moment on, stopped until motion is enabled."""

    def __init__(
        self,
        core: Core,
        devices: RobotDevices,
        controls: OperatorControls,
        recorder: RunRecorder,
        console: Console,
        interruption: Interruption,
        closing: ExitStack,
    ) -> None:
        self._core, self._client, self._drivers = core, devices.client, devices.drivers
        self._controls, self._recorder = controls, recorder
        self._say, self._interruption, self._closing = console.say, interruption, closing
        self._start = console.make_start(devices, controls.terminal)
        self._watch = GuardWatch(devices.client.session)
        self._pace, self._heartbeat = Pace(core.known.robot.loop), service.Heartbeat()
        self._states = DeviceStates(core.known.signals)
        self._asking = _states_that_ask(core)
        self._due = [Action("lapse", NOT_ENABLED)]
        self._skipped_ns = 0
        self._guard_is_gone = False

    @property
    def why_ended(self) -> str:
        """Why there was no next step."""
        return SILENT if self._guard_is_gone else "ended by a signal"

    @property
    def skipped(self) -> int:
        """Steps left out because they came too late."""
        return self._pace.skipped

    @property
    def status(self) -> str:
        """What the robot is at, for progress line and service manager."""
        core = self._core
        if not self._start.is_over:
            return self._start.status
        if not core.stop.effect.moves:
            return f"{'held' if core.stop.phase is Phase.HELD else 'stopped'}: {core.stop.cause}"
        return str(core.engine.path) or "sighting the marker"

    def next_step(self) -> StepReadings | None:
        """Wait on the monotonic clock, then take what devices, guard and operator have to say.

        A signal ends it, and a guard that is gone for good: whoever starts the run again starts a guard too.
        """
        if self._guard_is_gone or self._interruption.number is not None:
            return None
        woken_ns = self._pace.wait()
        states = [word for word in self._client.poll() if isinstance(word, State)]
        new = [*self._drivers.poll(woken_ns), *self._watch.readings(states)]
        now_ns = time.monotonic_ns()  # after polling: no reading can be younger than its step
        new.sort(key=lambda pair: pair[0])
        faults = [*self._drivers.faults(), *self._recorder.faults()]
        return StepReadings(now_ns, new, faults, self._actions(states, now_ns))

    def _actions(self, states: Sequence[State], now_ns: int) -> Sequence[Action]:
        due, self._due = self._due, []
        actions = [*due, *self._drivers.stops(), *self._watch.actions(states, now_ns)]
        if self._start.is_over:
            return [*actions, *self._controls.actions(now_ns)]
        if self._controls.enablings():
            self._start.enable()
        return actions

    def apply(self, decided: StepRecord) -> None:
        """Pass the commands to the drivers."""
        self._drivers.apply(decided, is_stopped=not self._core.stop.effect.moves)

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Go on with the start, and have guard, panel, person and service manager know how things stand."""
        now_ns = given.now_ns
        self._states.take(given, decided)
        self._guard_is_gone = self._watch.is_gone(now_ns)
        self._latch_at_guard()
        self._start.advance(now_ns, self._states, self._watch)
        self._controls.panel.show(self._indication(decided), now_ns)
        for line in map(line_for_operator, decided.events):
            if line:
                self._say(line)
        if self.skipped and now_ns >= self._skipped_ns:
            self._skipped_ns = now_ns + SKIPPED_NOTED_EVERY_NS
            self._recorder.note_skipped(self.skipped)
        self._heartbeat.beat(now_ns, self.status)
        self._controls.page.see(self._drivers.newest_frame())
        start = self._start
        waiting = BEGUN if start.is_over else Waiting(start.status, start.asks)
        self._controls.page.take(self._core, given, decided, waiting)

    def _latch_at_guard(self) -> None:
        """Have the guard follow where the core has stopped or holds by itself."""
        stop = self._core.stop
        if stop.phase in LATCHED and self._watch.phase in (Phase.NOT_ENABLED, Phase.RUNNING, Phase.HELD):
            self._client.stop(stop.cause)
        elif stop.phase is Phase.HELD and self._watch.moves:
            self._client.hold(stop.cause)

    def _indication(self, decided: StepRecord) -> Indication:
        core, is_started = self._core, self._start.is_over
        return indication_of(
            stopped=not core.stop.effect.moves and core.stop.phase is not Phase.HELD and is_started,
            fault=bool(self._states.not_ok),
            held_back=bool(core.known.signals.motion_held_back),
            waiting=not is_started or core.stop.phase is Phase.HELD or decided.state in self._asking,
            moving=any(decided.drive[:2]),
        )

    def close(self) -> None:
        """Tell the wheels to stand before all else, and end what was opened."""
        self._closing.close()
        self._recorder.note_skipped(self.skipped)


def line_for_operator(event: Event) -> str:
    """Return the line that an event is worth, mostly none: a stop, a hold, a question, a record that fails."""
    match event:
        case HealthChange("record", health, why):
            return "the run record is being written again" if health is Health.OK else why
        case Stop(cause) if cause != NOT_ENABLED:
            return f"stopped: {cause}; r resets, then g goes on"
        case Note("operator", "held"):
            return "held where it is; g goes on"
        case Note("question", text):
            return f"asked: {text}; y is yes, n is no"
    return ""


def _states_that_ask(core: Core) -> frozenset[str]:
    known = specs()
    states = core.engine.graph.states.values()
    return frozenset(
        state.path for state in states if state.activity in known and known[state.activity].waits_for_operator
    )
