"""The robot with a person beside it, for bring-up and jog: motor guard, links, drivers and record, and no core.

The guard alone holds wheels, jaws and stop input; what is commanded here goes to it as datagrams.
"""

import contextlib
import fcntl
import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

import rover
from rover.devices.protocols import Host
from rover.devices.readings import DriveCommand, Frame, JawsCommand, Reading
from rover.devices.registry import SIMULATED, is_dotted, load_driver
from rover.events import Event, Health, HealthChange, HoldBack, Note, Stop
from rover.files.load import Loaded
from rover.files.robot import Device, Robot
from rover.guard.client import GuardClient
from rover.guard.door import GuardError, default_folder
from rover.guard.drivers import LinkJaws, PinJaws, StopInput, Wheels
from rover.guard.launch import GuardProcess, is_at_work, prepare_folder, settings_of, start_guard
from rover.guard.outputs import FIRST_ANSWER_DUE
from rover.guard.permission import POWER_UP
from rover.guard.port import GuardPort
from rover.guard.protocol import Answer, Phase, State
from rover.guard.ways import CO_PROCESSOR
from rover.link.link import Link, open_link
from rover.record.writer import RunRecord
from rover.runtime.frames import FrameFolder

PERIOD_NS = 20_000_000
HELLO_EVERY_NS = 500_000_000
OPEN_WITHIN_S = 1.0
ANSWERS_WITHIN_S = 4.0
"""A co-processor that was just opened may first have to boot."""
LAST_WORD_WITHIN_NS = 500_000_000


class Heard(NamedTuple):
    """A reading of a device and when it was taken over."""

    at_ns: int
    family: str
    reading: Reading


class Attended:
    """Guard, drivers and record at work. One thread; made by `attend`.

    Attributes:
        robot: the robot file.
        client: the guard's client; its ``state`` is what the guard last said.
        links: serial links by name.
        latest: the last reading of each family.
        left_out: families that have no driver on the robot (``driver: simulated``).
        faults: why a driver gave up, by family.
    """

    def __init__(self, robot: Robot, client: GuardClient, record: RunRecord, frames: FrameFolder) -> None:
        self.robot, self.client = robot, client
        self.links: dict[str, Link] = {}
        self.latest: dict[str, Reading] = {}
        self.faults: dict[str, str] = {}
        self.left_out: tuple[str, ...] = ()
        self._wheels = Wheels(client)
        self._jaws: Any = None
        self._sensors: dict[str, Any] = {}
        self._record, self._frames = record, frames
        self._sequence = 0
        self._hello_ns = self._due_ns = 0
        self._phase: Phase | None = None
        self._causes: tuple[str, ...] = ()

    @property
    def now_ns(self) -> int:
        """The host's time."""
        return time.monotonic_ns()

    @property
    def state(self) -> State | None:
        """What the guard last said."""
        return self.client.state

    @property
    def is_running(self) -> bool:
        """Motion is permitted, for this program."""
        state = self.client.state
        return state is not None and state.phase is Phase.RUNNING and state.commander == self.client.session

    def open(self, drivers: Mapping[str, Any], jaws: Any) -> None:
        """Take over drivers by family, and what the jaws are told by."""
        self._sensors = {family: driver for family, driver in drivers.items() if hasattr(driver, "poll")}
        self._jaws = jaws

    @property
    def wheels(self) -> Wheels:
        """What the wheels are told by; jaws on the guard's side need it."""
        return self._wheels

    def drive(self, left: float, right: float, expires_ns: int) -> None:
        """Give the wheels duties that nobody renews: at ``expires_ns`` they are at zero."""
        self._sequence += 1
        self._wheels.apply(DriveCommand(left, right, self._sequence, expires_ns), self.now_ns)

    def grip(self, opening: float | None, expires_ns: int) -> None:
        """Tell the jaws; where the guard holds them, with the next command to the wheels."""
        self._sequence += 1
        self._jaws.apply(JawsCommand(opening, self._sequence, expires_ns), self.now_ns)

    def step(self) -> list[Heard]:
        """Wait for the next 20 ms, and return what came in; steps that are late are skipped."""
        now_ns = self.now_ns
        self._due_ns = max(self._due_ns + PERIOD_NS, now_ns)
        time.sleep((self._due_ns - now_ns) / 1e9)
        return self.poll()

    def poll(self) -> list[Heard]:
        """Return what came in, and record it; waits for nothing."""
        now_ns = self.now_ns
        self._listen_to_guard(now_ns)
        new = [(family, reading) for family, poll in list(self._sensors.items()) for reading in self._ask(family, poll)]
        self.latest.update(new)
        self._keep(now_ns, new)
        return [Heard(now_ns, family, reading) for family, reading in new]

    def watch(self, seconds: float, each: Callable[[int], None] | None = None) -> list[Heard]:
        """Return what comes in within a time; ``each`` is called in every step with the time."""
        heard: list[Heard] = []
        end_ns = self.now_ns + round(seconds * 1e9)
        while (now_ns := self.now_ns) < end_ns:
            if each is not None:
                each(now_ns)
            heard += self.step()
        return heard

    def wait_for(self, condition: Callable[[], object], seconds: float) -> bool:
        """Step until a condition holds; tell whether it came to that within a time."""
        end_ns = self.now_ns + round(seconds * 1e9)
        while not condition():
            if self.now_ns >= end_ns:
                return False
            self.step()
        return True

    def trouble(self, family: str) -> str:
        """Return what a driver says is wrong with its device, or ''."""
        return str(getattr(self._sensors.get(family), "trouble", ""))

    def note(self, kind: str, text: str) -> None:
        """Record what a person would want to read afterwards."""
        self._record.event(self.now_ns, Note(kind, text))

    def note_holds(self, causes: Sequence[str]) -> None:
        """Record which hold-backs of the limits began and ended."""
        events: list[Event] = [HoldBack(cause) for cause in causes if cause not in self._causes]
        events += [HoldBack(cause, ended=True) for cause in self._causes if cause not in causes]
        for event in events:
            self._record.event(self.now_ns, event)
        self._causes = tuple(causes)

    def _listen_to_guard(self, now_ns: int) -> None:
        if now_ns >= self._hello_ns:
            self._hello_ns = now_ns + HELLO_EVERY_NS
            self.client.hello()
        news = self.client.poll()
        answers = [
            ("guard", Reading(answer.now_ns, answer.sequence, answer)) for answer in news if isinstance(answer, Answer)
        ]
        if answers:
            self._record.readings(now_ns, answers)
        for state in news:
            if isinstance(state, State) and state.phase is not self._phase:
                self._phase = state.phase
                is_stop = state.phase is Phase.STOPPED
                self._record.event(now_ns, Stop(state.cause) if is_stop else Note("guard", state.phase.name.lower()))

    def _ask(self, family: str, driver: Any) -> Sequence[Reading]:
        try:
            readings: Sequence[Reading] = driver.poll(self.now_ns)
        except Exception as error:  # a user's own code may raise anything; its device alone is lost
            del self._sensors[family]
            self.faults[family] = f"its driver raised {type(error).__name__}: {error}"
            self._record.event(self.now_ns, HealthChange(family, Health.FAULTY, self.faults[family]))
            return ()
        return readings

    def _keep(self, now_ns: int, new: Sequence[tuple[str, Reading]]) -> None:
        for family, reading in new:
            # A camera reports what it found in a frame, and has the frame beside that; or it reports the frame.
            picture = getattr(self._sensors.get(family), "frame", reading)
            if isinstance(picture, Reading) and isinstance(picture.value, Frame):
                self._frames.keep(picture)
        if new:
            self._record.readings(now_ns, [(family, _without_picture(reading)) for family, reading in new])


def _without_picture(reading: Reading) -> Reading:
    value = reading.value
    return reading._replace(value=value._replace(image=None)) if isinstance(value, Frame) else reading


@contextmanager
def attend(loaded: Loaded[Robot], guard_folder: Path | None, record: Path, title: str) -> Iterator[Attended]:
    """Start the guard, then everything else, motion not yet permitted.

    At the end wheels are at zero. A guard started here ends too, unless a stop is latched: that outlives this program,
    for as long as the guard waits for another one.

    Args:
        loaded: the robot file.
        guard_folder: the guard's; None: the one of this user.
        record: file of the run record; frames are kept beside it.
        title: of the record.

    Raises:
        ValueError: the robot cannot be driven safely, or a driver's keys do not do.
        OSError: a port, pin or guard cannot be had, or the actuator does not answer; the message says what to do.
        LoadError: a driver cannot be imported.
        RecordError: the record cannot be made.
    """
    robot, folder = loaded.model, guard_folder or default_folder()
    settings = settings_of(robot)
    with ExitStack() as closing:
        _be_alone(folder, closing)
        was_there = is_at_work(folder)
        guard = start_guard(settings, folder)
        client = GuardClient(folder)
        closing.callback(_end_guard, guard, client, was_there)
        written = RunRecord.create(record, _header(loaded, title))
        closing.push(_finisher(written))
        at = Attended(robot, client, written, FrameFolder(record))
        _see_that_it_answers(at)
        _open_links(at, folder, closing)
        _open_drivers(at, settings.servo is not None, closing)
        yield at


def _be_alone(folder: Path, closing: ExitStack) -> None:
    """Keep a run and other sessions from this robot until the end."""
    prepare_folder(folder)
    descriptor = os.open(folder / "run.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    closing.callback(os.close, descriptor)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise GuardError("another program commands this robot; end it first, or give each robot its --guard") from None


def _see_that_it_answers(at: Attended) -> None:
    def answers() -> bool:
        return at.state is not None and at.state.output_open

    def may_boot() -> bool:
        return at.state is None or FIRST_ANSWER_DUE in at.state.note

    if not at.wait_for(answers, OPEN_WITHIN_S) and not (may_boot() and at.wait_for(answers, ANSWERS_WITHIN_S)):
        raise GuardError(at.state.note if at.state is not None else "the motor guard does not answer; look at its log")


def _open_links(at: Attended, folder: Path, closing: ExitStack) -> None:
    drive = at.robot.devices.drive
    for name, settings in at.robot.links.items():
        if drive.driver == CO_PROCESSOR and name == drive.link:
            at.links[name] = Link(GuardPort(folder), time.monotonic_ns, settings.baud)
        else:
            at.links[name] = open_link(settings)
        closing.callback(at.links[name].close)


def _open_drivers(at: Attended, guard_holds_jaws: bool, closing: ExitStack) -> None:
    host = Host(at.robot, 0, at.links)
    drivers: dict[str, Any] = {}
    for family, device in sorted(at.robot.devices.fitted().items()):
        if family == "drive" or device.driver == SIMULATED:
            continue
        drivers[family] = _driver(family, device, host, at, guard_holds_jaws)
        closing.callback(drivers[family].close)
    at.left_out = tuple(family for family in at.robot.devices.fitted() if family not in (*drivers, "drive"))
    at.open(drivers, drivers.get("gripper"))


def _driver(family: str, device: Device, host: Host, at: Attended, guard_holds_jaws: bool) -> Any:
    if family == "stop_input" and device.driver == "stop_pin":
        return StopInput(at.client)
    if family == "gripper" and guard_holds_jaws:
        is_serial = device.driver == CO_PROCESSOR
        return LinkJaws(device.options, host, at.wheels) if is_serial else PinJaws(device.options, at.wheels)
    return load_driver(family, device.driver)(device.options, host)


def loads(robot: Robot) -> list[str]:
    """Return the user's own drivers that are imported, to be shown to the person."""
    return [device.driver for device in robot.devices.fitted().values() if is_dotted(device.driver)]


def _header(loaded: Loaded[Robot], title: str) -> dict[str, str]:
    return {
        "title": f"{title}: {loaded.model.robot}",
        "started": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": rover.__version__,
        "host": "robot, attended",
        f"file:{loaded.source.name}": loaded.source.path.read_text("utf-8-sig"),
    }


def _finisher(record: RunRecord) -> Callable[..., None]:
    """Return what finishes the record at the end of the `with`, however that comes."""

    def finish(kind: type[BaseException] | None, error: BaseException | None, trace: object) -> None:
        if error is None:
            record.finish("done", "ended by the person", {})
        else:
            record.finish("stopped", str(error) or type(error).__name__, {})

    return finish


def _end_guard(guard: GuardProcess, client: GuardClient, was_there: bool) -> None:
    state = _last_word(client)
    client.close()
    is_stopped = state is not None and state.phase is Phase.STOPPED and state.cause != POWER_UP
    if not was_there and not is_stopped:
        with contextlib.suppress(OSError):
            guard.close()


def _last_word(client: GuardClient) -> State | None:
    """Return how the guard stands after all that was asked of it so far."""
    asked_ns = time.monotonic_ns()
    client.hello()
    while time.monotonic_ns() - asked_ns < LAST_WORD_WITHIN_NS:
        client.poll()
        if client.state is not None and client.state.now_ns > asked_ns:
            break
        time.sleep(0.005)
    return client.state
