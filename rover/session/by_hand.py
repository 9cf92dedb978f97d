"""The robot with a person beside it, for bring-up, jog and calibration: guard, links, drivers, record, and no core.

The guard alone holds wheels, jaws and stop input; what is commanded here goes to it as datagrams.
"""

import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

from rover.core.possible import checks
from rover.devices.readings import DriveCommand, Fault, JawsCommand, Reading
from rover.events import Event, Health, HealthChange, Note, Stop
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.guard.client import default_folder
from rover.guard.protocol import Answer, State
from rover.session.assembly import texts_of
from rover.session.hard_end import last_words, note_closing
from rover.session.hardware import RobotDevices, open_devices, simulated_in
from rover.session.header import header_of
from rover.session.recorder import Recorder
from rover.session.watched import ByHandPage, NoByHandPage, Standing
from rover.stopping import Phase

PERIOD_NS = 20_000_000
SILENT_NS = 1_000_000_000
HELLO_EVERY_NS = 100_000_000
"""So often the guard hears of this program though it commands nothing: well within its patience."""
HELD_NO_LONGER_THAN_S = 1.0
ASKED = "a person is asked something"


class TimedReading(NamedTuple):
    """A reading of a device and when it was taken over."""

    at_ns: int
    family: str
    reading: Reading


class ManualSession:
    """The devices at work, and their record. One thread; made by `manual_session`.

    Attributes:
        robot: the robot file.
        devices: guard's client, serial links and drivers.
        client: the guard's client; its ``state`` is what the guard last said.
        latest: the last reading of each family.
        faults: why a driver is away, by family.
    """

    def __init__(self, robot: Robot, devices: RobotDevices, recorder: Recorder, page: ByHandPage | None = None) -> None:
        self._page = page or NoByHandPage()
        self.robot, self.devices, self.client = robot, devices, devices.client
        self.latest: dict[str, Reading] = {}
        self.faults: dict[str, str] = {}
        self._drivers, self._recorder = devices.drivers, recorder
        self._why_impossible = checks(robot)
        self._sequence = 0
        self._hello_ns = self._due_ns = 0
        self._phase: Phase | None = None

    @property
    def now_ns(self) -> int:
        """Monotonic time."""
        return time.monotonic_ns()

    @property
    def state(self) -> State | None:
        """What the guard last said."""
        return self.client.state

    @property
    def is_running(self) -> bool:
        """Motion is permitted, for this program."""
        state = self.client.state
        return state is not None and state.phase is Phase.RUNNING and state.permit_holder == self.client.session

    def drive(self, left: float, right: float, expires_ns: int) -> None:
        """Give the wheels duties that nobody renews: at ``expires_ns`` they are at zero."""
        self._sequence += 1
        if self.robot.devices.drive.is_own and not self.is_running:
            left = right = 0.0  # nobody but this refuses it to a driver of one's own
        self._drivers.drive(DriveCommand(left, right, self._sequence, expires_ns), self.now_ns)

    def grip(self, opening: float | None, expires_ns: int) -> None:
        """Tell the jaws; where the guard holds them, with the next command to the wheels."""
        self._sequence += 1
        gripper = self.robot.devices.gripper
        if gripper is not None and gripper.is_own and not self.is_running:
            return
        command = JawsCommand(opening, self._sequence, expires_ns)
        self._drivers.tell("gripper", command, self.now_ns, is_stopped=not self.is_running)

    def step(self) -> list[TimedReading]:
        """Wait for the next 20 ms, and return what came in; steps that are late are skipped."""
        now_ns = self.now_ns
        self._due_ns = max(self._due_ns + PERIOD_NS, now_ns)
        time.sleep((self._due_ns - now_ns) / 1e9)
        return self.poll()

    def poll(self) -> list[TimedReading]:
        """Return what came in, and record it; waits for nothing."""
        now_ns = self.now_ns
        self._listen_to_guard(now_ns)
        new = self._drivers.poll(now_ns)
        for family, why in self._drivers.faults():
            self._note(now_ns, HealthChange(family, Health.FAULTY if why else Health.OK, why))
            if why:
                self.faults[family] = why
            else:
                self.faults.pop(family, None)
        for stop in self._drivers.stops():
            self.client.stop(stop.value)
        if new:
            self._recorder.readings(now_ns, new)
        heard = [TimedReading(now_ns, *each) for each in new if self._can_be(*each)]
        self.latest.update((each.family, each.reading) for each in heard)
        self._page.hear(now_ns, self._standing(now_ns), new, self.faults)
        for wish in self._page.wishes():
            self._do(wish.word, wish.whose)
        return heard

    def _standing(self, now_ns: int) -> Standing:
        state = self.client.state
        if state is None or now_ns - state.now_ns > SILENT_NS:
            return Standing("guard silent", "the motor guard does not answer")
        is_others = state.phase is Phase.RUNNING and not self.is_running
        phase = Phase.NOT_ENABLED if is_others else state.phase
        return Standing(phase.name.lower().replace("_", " "), state.cause or state.note)

    def _do(self, word: str, whose: str) -> None:
        """Ask the guard for what somebody at the page wants."""
        match word:
            case "stop":
                self.client.stop(f"stopped at the page by {whose}")
            case "hold":
                self.client.hold(f"held at the page by {whose}")
            case "reset":
                self.client.reset()
            case "enable" | "go on":
                self.client.go_on()

    def _can_be(self, name: str, reading: Reading) -> bool:
        """Tell whether a reading may be made something of; one that says what is wrong may."""
        check = self._why_impossible.get(name)
        return isinstance(reading.value, Fault) or check is None or not check(reading.value)

    def watch(self, seconds: float, each: Callable[[int], None] | None = None) -> list[TimedReading]:
        """Return what comes in within a time; ``each`` is called in every step with the time."""
        heard: list[TimedReading] = []
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

    def record(self, event: Event) -> None:
        """Record what happened, such as a `Note` that a person would want to read afterwards."""
        self._note(self.now_ns, event)

    def _note(self, now_ns: int, event: Event) -> None:
        self._recorder.event(now_ns, event)
        self._page.note(now_ns, event)

    def _listen_to_guard(self, now_ns: int) -> None:
        if now_ns >= self._hello_ns:
            self._hello_ns = now_ns + HELLO_EVERY_NS
            self.client.hello()
        for word in self.client.poll():
            if isinstance(word, Answer):
                self._recorder.readings(now_ns, [("guard", Reading(word.now_ns, word.sequence, word))])
            elif word.phase is not self._phase:
                self._phase = word.phase
                is_stop = word.phase in (Phase.NOT_ENABLED, Phase.STOPPED)
                self._note(now_ns, Stop(word.cause) if is_stop else Note("guard", word.phase.name.lower()))


def step_held(session: ManualSession) -> list[TimedReading]:
    """Step with the wheels held: while a person types a line, no key of theirs would be heard as a stop."""
    if session.is_running:
        session.client.hold(ASKED)
    return session.step()


def end_hold(session: ManualSession) -> None:
    """Go on after a question that was answered; any other hold stays."""
    state = session.state
    if state is not None and state.phase is Phase.HELD and state.cause == ASKED:
        session.client.resume()
        session.wait_for(lambda: session.is_running, HELD_NO_LONGER_THAN_S)


def guard_folder_of(given: Path | None) -> Path:
    """Return the folder of the guard that a session has: the given one, or that of this user."""
    return given or default_folder()


@contextmanager
def manual_session(
    loaded: Loaded[Robot], guard_folder: Path | None, record: Path, title: str, page: ByHandPage | None = None
) -> Iterator[ManualSession]:
    """Start the guard, then everything else, motion not yet permitted.

    At the end wheels are at zero, and the guard ends too, unless a stop is latched: that outlives this program, for as
    long as the guard waits for another one.

    Args:
        loaded: the robot file.
        guard_folder: the guard's; None: the one of this user.
        record: file of the run record; frames are kept beside it.
        title: of the record.
        page: on which people elsewhere watch.

    Raises:
        RunError: the robot cannot be had; the message says what to do.
        LoadError: a driver cannot be had.
        RecordError: the record cannot be made.
    """
    robot = loaded.model
    header = header_of(f"{title}: {robot.robot}", "robot, by hand", texts_of([loaded.source]))
    with open_devices(_without_simulated(robot), guard_folder_of(guard_folder), {}, 0) as devices:
        recorder = Recorder(record, header, devices.drivers.newest_frame, robot.record, time.monotonic_ns())
        try:
            with last_words(recorder.cut), closing(devices.drivers):
                try:
                    if page is not None:
                        page.begin(robot, header)
                    yield ManualSession(robot, devices, recorder, page)
                finally:
                    note_closing()
        except BaseException as error:
            recorder.close("stopped", str(error) or type(error).__name__, {})
            raise
        recorder.close("done", "ended by the person", {})


def _without_simulated(robot: Robot) -> Robot:
    """Leave out what has no driver; without a drive there would be nothing to drive, so that is refused later."""
    left_out = dict.fromkeys(family for family in simulated_in(robot) if family != "drive")
    return robot.model_copy(update={"devices": robot.devices.model_copy(update=left_out)})
