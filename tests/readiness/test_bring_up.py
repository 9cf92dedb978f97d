"""Bring-up: the rules for wiring by themselves, then the real guard and an emulated co-processor with each mistake."""

import json
import math
import os
import re
import struct
import subprocess
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.commands.main import CHECK_NAMES
from rover.devices.readings import HeadingValue, RangeValue, Reading
from rover.devices.sides import Sides
from rover.files import load
from rover.guard.launch import is_at_work, retire
from rover.link.emulated_hardware import HardwareState
from rover.link.emulator import Emulator
from rover.readiness import bring_up as walk
from rover.readiness import sensors
from rover.readiness.finding import Finding, Verdict, told
from rover.readiness.wheels import Diagnosis, SeenTurning, Setting, Trial, diagnose
from rover.session.by_hand import TimedReading

# A guard with a latched stop outlives its program, which here is this process: its supervisor is meant to go on.
pytestmark = pytest.mark.filterwarnings("ignore:Exception ignored in. <function Popen.__del__")

COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
STRAIGHT = ((1, 0), (0, 1))
CROSSED = ((0, 1), (1, 0))
TRIES = 6

ROBOT = """\
robot: On a stand
body: {wheel_diameter: 72 mm, track: 24 cm, counts_per_rev: 1320, gripper_reach: 16 cm}
links:
  main: {port: PORT}
devices:
  drive:
    driver: co_processor
    link: main
    reverse_left: false
  counts: {driver: co_processor, link: main}
  heading: {driver: co_processor, link: main, rate: 10 Hz}
  gripper: {driver: co_processor, link: main, feedback: position}
  battery: {driver: co_processor, link: main}
"""
Matrix = tuple[tuple[int, int], tuple[int, int]]


def times(matrix: Matrix, pair: tuple[float, float]) -> tuple[float, float]:
    """Return the product of a matrix and a pair."""
    (a, b), (c, d) = matrix
    return a * pair[0] + b * pair[1], c * pair[0] + d * pair[1]


class OnAStand:
    """Wheels in the air: ``motors`` leads from channels to wheels, ``encoders`` from wheels to counts."""

    def __init__(self, motors: Matrix = STRAIGHT, encoders: Matrix = STRAIGHT, stalls: bool = False) -> None:
        self._motors, self._encoders, self._stalls = motors, encoders, stalls
        self._travel = self._speed = (0.0, 0.0)
        self._opening = 0.5
        self._since_ns = 0

    def sample(self, now_ns: int) -> HardwareState:
        self._roll(now_ns)
        left, right = map(round, times(self._encoders, self._travel))
        pushing = 0.8 if self._stalls and self._opening == 0.0 else 0.0
        amps = 0.3 + sum(abs(speed) for speed in self._speed) + pushing
        return HardwareState(left, right, 0.0, 0.0, 3, 12.3, amps, self._opening, None)

    def drive(self, left: float, right: float, now_ns: int) -> None:
        self._roll(now_ns)
        self._speed = times(self._motors, (left, right))

    def servo(self, pulse_s: float | None, now_ns: int) -> None:
        if pulse_s is not None:
            self._opening = min(max((pulse_s - 0.0011) / 0.0008, 0.0), 1.0)

    def _roll(self, now_ns: int) -> None:
        seconds = (now_ns - self._since_ns) / 1e9 if self._since_ns else 0.0
        left, right = self._speed
        self._travel = (self._travel[0] + 1500.0 * left * seconds, self._travel[1] + 1500.0 * right * seconds)
        self._since_ns = now_ns


class Answers:
    """A person whose answers are known beforehand, by a word of the question."""

    def __init__(self, answers: dict[str, str]) -> None:
        self._answers = answers
        self.asked: list[str] = []

    def say(self, text: str) -> None:
        self.asked.append(text)

    def ask(self, question: str, meanwhile: Callable[[], object]) -> str:
        self.asked.append(question)
        meanwhile()
        return next(answer for word, answer in self._answers.items() if word in question)

    def choose(self, question: str, choices: tuple[str, ...], meanwhile: Callable[[], object]) -> str:
        answer = self.ask(question, meanwhile)
        assert answer in choices
        return answer


class Stand:
    """Robot file, guard folder and emulator of a machine."""

    def __init__(self, folder: Path, closing: ExitStack) -> None:
        self.folder, self.guard = folder, folder / "guard"
        self._closing, self._records = closing, 0
        self.file = folder / "cart.yaml"
        closing.callback(self.end_guard)

    def put(self, machine: OnAStand, robot: str = ROBOT) -> None:
        self._closing.callback(Emulator(machine, self.folder / "main").close)
        self.file.write_text(robot.replace("PORT", str(self.folder / "main")), encoding="utf-8")

    def end_guard(self) -> None:
        if is_at_work(self.guard):
            retire(self.guard)

    def find(self, name: str, person: Answers | None = None) -> Finding:
        """Make one check; again where this computer was too busy to answer like a co-processor."""
        for _ in range(TRIES):
            self._records += 1
            record = self.folder / f"{self._records}.sqlite"
            result = walk.bring_up(load.load(self.file, "robot"), (self.guard, record), [name], person, lambda _: None)
            self.end_guard()
            if "does not answer" not in result.findings[0].measured:
                break
        return result.findings[0]


@pytest.fixture
def stand() -> Iterator[Stand]:
    with ExitStack() as closing:
        # A short name: the path of a socket has room for 107 characters.
        yield Stand(Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="b-"))), closing)


@pytest.fixture
def at_a_jog_trot(monkeypatch):
    """Shorter trials; the battery monitor still speaks in each of them."""
    monkeypatch.setattr(walk, "TRIAL_S", 0.7)
    monkeypatch.setattr(walk, "REST_S", 1.5)


def robot_with(drive: dict[str, bool] | None = None, counts: dict[str, bool] | None = None):
    """Return a robot whose drive and counts have these settings."""
    values = {
        "robot": "Stand",
        "body": {"wheel_diameter": "72 mm", "track": "24 cm", "counts_per_rev": 1320, "gripper_reach": "16 cm"},
        "links": {"main": {"port": "nowhere"}},
        "devices": {
            "drive": {"driver": "co_processor", "link": "main", **(drive or {})},
            "counts": {"driver": "co_processor", "link": "main", **(counts or {})},
        },
    }
    return load.Robot.model_validate(values)


KEYS = ("swap_sides", "reverse_left", "reverse_right")
SETTINGS = st.fixed_dictionaries({key: st.booleans() for key in KEYS})
GOOD = (Trial("left", (400, 0)), Trial("right", (0, 410)))


class Knowledge:
    """The true wiring: which wheel a channel turns and counts, and which way, as settings that would mend it."""

    def __init__(self, motors: dict[str, bool], encoders: dict[str, bool]) -> None:
        self.motors, self.encoders = Sides(motors), Sides(encoders)

    def trial(self, robot, side: str, *, is_seen: bool) -> Trial:
        duty = (10, 0) if side == "left" else (0, 10)
        channels = Sides(robot.devices.drive.options).to_channels(*duty)
        wheels = self.motors.from_channels(*channels)
        counted = self.encoders.to_channels(*wheels)
        told_counts = Sides(robot.devices.counts.options).from_channels(*(40 * each for each in counted))
        turned = "left" if wheels[0] else "right"
        return Trial(side, told_counts, SeenTurning((turned,), sum(wheels) > 0) if is_seen else None)

    def trials(self, robot, *, is_seen: bool = True) -> tuple[Trial, Trial]:
        return self.trial(robot, "left", is_seen=is_seen), self.trial(robot, "right", is_seen=is_seen)


def mended(drive: dict[str, bool], counts: dict[str, bool], settings: list[Setting]):
    """Return the robot after the changes."""
    changed = {"drive": dict(drive), "counts": dict(counts)}
    for family, key, value in settings:
        assert changed[family][key] is not value, "a change changes something"
        changed[family][key] = value
    return robot_with(changed["drive"], changed["counts"])


class TestWiring:
    def test_nothing_is_wrong_with_a_robot_that_is_right(self):
        assert diagnose(robot_with(), GOOD) == Diagnosis()

    @given(SETTINGS, SETTINGS, SETTINGS, SETTINGS)
    def test_the_changes_mend_every_swap_of_channels_and_signs(self, motors, encoders, drive, counts):
        """Whatever is wired which way, and whatever the file says of it."""
        known = Knowledge(motors, encoders)
        found = diagnose(robot_with(drive, counts), known.trials(robot_with(drive, counts)))
        robot = mended(drive, counts, found.settings)
        trials = known.trials(robot)
        assert [trial.seen for trial in trials] == [SeenTurning(("left",)), SeenTurning(("right",))]
        assert diagnose(robot, trials).mistakes == []
        assert bool(found.mistakes) == bool(found.settings)

    @given(SETTINGS, SETTINGS, SETTINGS, SETTINGS)
    def test_without_a_person_either_way_of_mending_makes_counts_follow_commands(self, motors, encoders, drive, counts):
        known = Knowledge(motors, encoders)
        found = diagnose(robot_with(drive, counts), known.trials(robot_with(drive, counts), is_seen=False))
        for settings in (found.settings, found.alternatives):
            robot = mended(drive, counts, settings)
            assert diagnose(robot, known.trials(robot, is_seen=False)).mistakes == []

    @pytest.mark.parametrize(
        ("left", "mistake"),
        [
            (Trial("left", (400, 390)), "coupled wiring"),
            (
                Trial("left", (400, 390), SeenTurning(("left",))),
                "coupled wiring: .*one wheel turns and both counts move",
            ),
            (Trial("left", (400, 0), SeenTurning(("left", "right"))), "coupled wiring: .*both wheels turn"),
            (Trial("left", (0, 0), SeenTurning(("left",))), "dead encoder"),
            (Trial("left", (0, 0), None, 0.4), "dead encoder"),
            (Trial("left", (0, 0), SeenTurning(())), "dead motor"),
            (Trial("left", (0, 0), None, 0.0), "dead motor:"),
            (Trial("left", (2, 1)), "dead motor or dead encoder"),
            (Trial("left", (300, 0), SeenTurning(())), "the left encoder counts although no wheel turned"),
            (
                Trial("left", (0, 400), SeenTurning(("right",))),
                "coupled wiring: both motor channels turn the right wheel",
            ),
            (
                Trial("left", (0, 400), SeenTurning(("left",))),
                "coupled wiring: both wheels are counted by the right encoder",
            ),
        ],
    )
    def test_what_no_line_of_the_file_mends_is_told_with_what_to_try(self, left, mistake):
        right = Trial("right", (0, 400), None if left.seen is None else SeenTurning(("right",)))
        found = diagnose(robot_with(), (left, right))
        assert [len(found.mistakes), len(found.advice), found.settings] == [1, 1, []]
        assert re.match(mistake, found.mistakes[0])

    def test_a_few_counts_of_the_other_side_are_no_coupling(self):
        assert diagnose(robot_with(), (Trial("left", (400, 30)), GOOD[1])).mistakes == []


def heard(family: str, values: list[object], every_s: float = 0.1, late_s: float = 0.0) -> list[TimedReading]:
    """Return readings at a steady rate, taken over so much later."""
    stamps = [round(number * every_s * 1e9) for number in range(len(values))]
    return [
        TimedReading(stamp + round(late_s * 1e9), family, Reading(stamp, number, value))
        for number, (stamp, value) in enumerate(zip(stamps, values, strict=True))
    ]


class TestSensors:
    @pytest.mark.parametrize(
        ("degrees", "verdict"),
        [(90, "as expected"), (78, "as expected"), (-90, "not as expected"), (10, "not as expected")],
    )
    def test_a_quarter_turn_to_the_left_is_ninety_degrees_more(self, degrees, verdict):
        steps = [HeadingValue(math.radians(170 + degrees * part / 10)) for part in range(11)]
        steps = [HeadingValue(sensors.wrap(value.angle)) for value in steps]
        finding = sensors.turn_finding(sensors.turned_by(steps))
        assert finding.verdict.value == verdict
        assert ("wrong way" in "".join(finding.advice)) == (degrees == -90)

    def test_a_heading_that_is_not_calibrated_or_loses_reports_is_told(self):
        heading = robot_with_more("heading", rate="10 Hz").heading
        assert sensors.heading_finding(heard("heading", [HeadingValue(0.1, 0.0, 3)] * 20), heading).verdict is FINE
        low = sensors.heading_finding(heard("heading", [HeadingValue(0.1, 0.0, 1)] * 20), heading)
        assert (low.verdict, "calibration 1 of 3" in low.measured) == (Verdict.OTHERWISE, True)
        gap = heard("heading", [HeadingValue(0.1, 0.0, 3)] * 20)
        del gap[5]
        assert "1 lost" in sensors.heading_finding(gap, heading).measured
        slow = heard("heading", [HeadingValue(0.1, 0.0, 3)] * 20, every_s=0.2)
        assert sensors.heading_finding(slow, heading).verdict is Verdict.OTHERWISE

    def test_the_range_is_held_against_the_ruler(self):
        finder = robot_with_more("range", rate="10 Hz").range
        echoes = heard("range", [RangeValue(0.51)] * 12 + [RangeValue(None)] * 3)
        assert sensors.range_finding(echoes, finder, 0.50).verdict is FINE
        assert sensors.range_finding(echoes, finder, 0.45).verdict is Verdict.OTHERWISE
        silence = sensors.range_finding(heard("range", [RangeValue(None)] * 15), finder, 0.50)
        assert (silence.verdict, silence.measured[:7]) == (Verdict.OTHERWISE, "no echo")

    def test_frames_that_come_late_or_seldom_are_told(self):
        camera = robot_with_more("camera", rate="10 Hz", latency="80 ms").camera
        assert sensors.camera_finding(heard("camera", [None] * 20, late_s=0.1), camera).verdict is FINE
        late = sensors.camera_finding(heard("camera", [None] * 20, late_s=0.4), camera)
        assert (late.verdict, late.measured) == (Verdict.OTHERWISE, "10.0 frames a second, 400 ms old")
        assert sensors.camera_finding(heard("camera", [None] * 20, every_s=0.3), camera).verdict is Verdict.OTHERWISE
        assert sensors.camera_finding([], camera).measured == "no frame"

    @pytest.mark.parametrize(
        ("opening", "amps", "is_quiet", "fits"),
        [
            (0.02, None, None, True),
            (0.3, None, None, False),
            (None, 0.5, None, False),
            (0.02, 0.05, True, True),
            (0.02, 0.05, False, False),
            (None, None, None, None),
        ],
    )
    def test_jaws_come_to_an_end_when_no_sign_speaks_against_it(self, opening, amps, is_quiet, fits):
        assert sensors.end_fits(0.0, opening, amps, is_quiet) is fits


FINE = Verdict.AS_EXPECTED


def robot_with_more(family: str, **keys: str):
    """Return the devices of a robot that has one more."""
    devices = {"drive": {"driver": "co_processor"}, "counts": {"driver": "co_processor"}}
    return load.Robot.model_fields["devices"].annotation.model_validate(
        {**devices, family: {"driver": "scripted", **keys}}
    )


@pytest.mark.usefixtures("at_a_jog_trot")
class TestOnTheStand:
    def test_a_robot_that_is_right(self, stand):
        stand.put(OnAStand())
        finding = stand.find("motors")
        assert (finding.verdict, finding.mistakes) == (FINE, ()), finding

    @pytest.mark.parametrize(
        ("machine", "mistake", "change"),
        [
            (
                OnAStand(motors=CROSSED),
                "swapped channels",
                "cart.yaml:6:3: add 'swap_sides: true' to 'devices.drive:'",
            ),
            (
                OnAStand(motors=((-1, 0), (0, 1))),
                "swapped sign: the left",
                "cart.yaml:9:5: write 'reverse_left: true' in 'devices.drive:'",
            ),
            (OnAStand(motors=((1, 1), (1, 1))), "coupled wiring", ""),
            (OnAStand(encoders=((0, 0), (0, 1))), "dead encoder: with the left motor", ""),
            (OnAStand(motors=((1, 0), (0, 0))), "dead motor: the right motor", ""),
        ],
    )
    def test_the_encoders_alone_tell_the_mistake_and_the_line(self, stand, machine, mistake, change):
        stand.put(machine)
        finding = stand.find("motors")
        assert finding.verdict is Verdict.OTHERWISE
        assert finding.mistakes[0].startswith(mistake)
        assert [str(each).removeprefix(f"{stand.folder}/") for each in finding.changes] == [change] * bool(change)

    def test_with_a_person_swapped_encoders_are_told_from_swapped_motors(self, stand):
        stand.put(OnAStand(encoders=CROSSED))
        person = Answers({"The left motor": "left", "The right motor": "right", "Which way": "forwards"})
        finding = stand.find("motors", person)
        assert finding.mistakes == ("swapped channels: left and right encoder are the wrong way round",)
        assert [change.line for change in finding.changes] == [10]
        assert "add 'swap_sides: true' to 'devices.counts:'" in told(finding)
        assert len(person.asked) == 4

    def test_jaws_that_push_on_at_an_end_are_told_with_the_line(self, stand):
        stand.put(OnAStand(stalls=True))
        finding = stand.find("gripper")
        assert finding.mistakes == ("the jaws do not come to rest at 'closed'",)
        assert str(finding.changes[0]).endswith("cart.yaml:12:3: add 'closed: 1140 us' to 'devices.gripper:'")

    def test_what_is_read_at_rest_is_as_the_machine_says(self, stand):
        stand.put(OnAStand())
        assert stand.find("battery").measured == "12.30 V"
        assert "calibration 3 of 3" in stand.find("heading").measured
        assert "damaged; emulator 1" in stand.find("link").measured  # how many depends on how busy this computer is
        assert stand.find("stop_input").verdict is Verdict.NOT_TRIED


STOP_PIN = """\
  stop_input: {driver: stop_pin, gpio: PINS, pin: 4}
"""


class AtTheButton(Answers):
    """A person who presses and releases a stop whose contact is wired to a line of a chip."""

    def __init__(self, contact: Path, answers: dict[str, str]) -> None:
        super().__init__(answers)
        self._contact = contact

    def ask(self, question: str, meanwhile: Callable[[], object]) -> str:
        if "Press" in question or "Release" in question:
            self._contact.write_text("1" if "Press" in question else "0")
            for _ in range(20):
                meanwhile()
        return super().ask(question, meanwhile)


class TestStopInput:
    def put(self, stand: Stand, level: str) -> Path:
        pins = stand.folder / "pins"
        pins.mkdir()
        (pins / "line4").write_text(level)
        stand.put(OnAStand(), ROBOT + STOP_PIN.replace("PINS", str(pins)))
        return pins / "line4"

    def test_it_is_pressed_and_released_and_the_stop_is_reset(self, stand):
        person = AtTheButton(self.put(stand, "0"), {"Press": "", "Release": "", "Reset": "yes"})
        finding = stand.find("stop_input", person)
        assert finding.measured == "closed; pressed: open, stopped; released: closed"
        assert finding.verdict is FINE

    @pytest.mark.usefixtures("at_a_jog_trot")
    def test_motors_turn_while_it_is_closed(self, stand):
        self.put(stand, "0")
        assert stand.find("stop_input").measured == "closed; not pressed"
        assert stand.find("motors").verdict is FINE

    def test_a_contact_that_is_open_from_the_first_stops_motion_too(self, stand):
        self.put(stand, "1")
        assert stand.find("stop_input").measured == "open; not pressed"
        finding = stand.find("motors")
        assert finding.verdict is Verdict.OTHERWISE
        assert finding.measured == "motion is stopped: the stop input is open"


DRIVERS = """\
from pathlib import Path
import numpy
from rover.devices.readings import Detections, Frame, HeadingValue, RangeValue, Reading

class Every:
    def __init__(self, options, host):
        self._every_ns, self._next_ns, self._number = int(1e9 / options["rate"]), 0, 0

    def poll(self, now_ns):
        if now_ns < self._next_ns:
            return ()
        self._next_ns, self._number = now_ns + self._every_ns, self._number + 1
        return [Reading(now_ns, self._number, self.value())]

    def close(self):
        pass

class Camera(Every):
    def value(self):
        picture = numpy.zeros((2, 3, 3), numpy.uint8)
        picture[:, :, 2] = 200
        return Frame(picture, 3, 2)

class Finder(Camera):
    trouble = "too dark"

    def value(self):
        self.frame = Reading(self._next_ns, self._number, super().value())
        return Detections(())

class Box(Every):
    def value(self):
        return RangeValue(0.502)

class Turned(Every):
    def value(self):
        return HeadingValue(min(3.0 + 0.1 * self._number, 4.57), 0.0, 3)

class Broken(Every):
    def value(self):
        raise RuntimeError("unplugged")
"""


class TestUserDrivers:
    @pytest.fixture
    def put(self, stand, monkeypatch):
        (stand.folder / "stand_drivers.py").write_text(DRIVERS, encoding="utf-8")
        monkeypatch.syspath_prepend(stand.folder)
        without = "\n".join(line for line in ROBOT.splitlines() if "heading" not in line)
        return lambda family, name: stand.put(
            OnAStand(), f"{without}\n  {family}: {{driver: 'stand_drivers:{name}', rate: 10 Hz}}\n"
        )

    @pytest.mark.usefixtures("at_a_jog_trot")
    @pytest.mark.parametrize(("name", "mistakes"), [("Camera", ()), ("Finder", ("too dark",))])
    def test_frames_are_counted_and_kept_beside_the_record(self, stand, put, name, mistakes):
        """Whether the driver reports frames, or what it found in them."""
        put("camera", name)
        finding = stand.find("camera")
        assert finding.mistakes == mistakes
        assert finding.expected == "10 frames a second, at most 280 ms old"
        frames = sorted((stand.folder / "1.frames").glob("*.png"))
        assert frames
        assert pixels(frames[0].read_bytes()) == (3, 2, bytes([0, *[200, 0, 0] * 3]) * 2)

    @pytest.mark.usefixtures("at_a_jog_trot")
    def test_the_range_is_asked_for_with_its_unit(self, stand, put):
        put("range", "Box")
        person = Answers({"ruler": "50 cm"})
        assert stand.find("range", person).measured.startswith("0.502 m")

    def test_the_robot_is_turned_by_hand(self, stand, put):
        put("heading", "Turned")

        class Hands(Answers):
            def ask(self, question, meanwhile):
                for _ in range(130):
                    meanwhile()
                return super().ask(question, meanwhile)

        finding = stand.find("turn", Hands({"quarter turn to the left": ""}))
        assert (finding.verdict, finding.measured) == (FINE, "+84 deg")
        assert stand.find("turn").verdict is Verdict.NOT_TRIED

    def test_a_driver_that_fails_is_told_with_its_error(self, stand, put):
        put("range", "Broken")
        finding = stand.find("range")
        assert (finding.verdict, finding.measured) == (
            Verdict.OTHERWISE,
            "its driver raised RuntimeError: unplugged",
        )


def pixels(png: bytes) -> tuple[int, int, bytes]:
    """Return width, height and the unfiltered rows of a PNG, each of its chunks checked."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    chunks, at = {}, 8
    while at < len(png):
        length, kind = struct.unpack(">I4s", png[at : at + 8])
        data = png[at + 8 : at + 8 + length]
        assert struct.unpack(">I", png[at + 8 + length : at + 12 + length]) == (zlib.crc32(kind + data),)
        chunks[kind], at = data, at + 12 + length
    return (*struct.unpack(">II", chunks[b"IHDR"][:8]), zlib.decompress(chunks[b"IDAT"]))


def rover(stand: Stand, *arguments: str, typed: str = "") -> "subprocess.CompletedProcess[str]":
    """Run the command in a process of its own, answers typed beforehand."""
    return subprocess.run(
        [*COMMAND, *arguments, "--guard", str(stand.guard)],
        input=typed,
        capture_output=True,
        text=True,
        timeout=120,
        cwd=stand.folder,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )


class TestTheCommand:
    def test_json_is_one_object_with_every_check_and_the_record(self, stand):
        stand.put(OnAStand(motors=CROSSED))
        ended = rover(stand, "bring-up", "cart.yaml", "--yes-to-all", "--json", "--only", "link", "--only", "motors")
        result = json.loads(ended.stdout)
        assert (ended.returncode, result["as_expected"]) == (1, False), ended.stderr
        assert [finding["check"] for finding in result["findings"]] == ["link", "motors"]
        assert (stand.folder / result["record"]).exists()

    def test_it_says_first_that_wheels_have_to_be_off_the_ground_and_moves_nothing_without_a_yes(self, stand):
        stand.put(OnAStand())
        refused = rover(stand, "bring-up", "cart.yaml", "--only", "motors", typed="no\n")
        assert refused.returncode == 2
        assert refused.stderr.startswith("First of all: put the robot on a stand, wheels off the ground")
        assert not (stand.folder / "runs").exists()
        silent = rover(stand, "bring-up", "cart.yaml", "--only", "motors", "--json")
        assert (silent.returncode, silent.stdout) == (2, "")
        assert "--yes-to-all" in silent.stderr

    def test_answers_are_taken_from_standard_input(self, stand):
        stand.put(OnAStand())
        typed = "yes\nleft\nbackwards\nright\nforwards\n"
        for _ in range(TRIES):
            ended = rover(stand, "bring-up", "cart.yaml", "--only", "motors", typed=typed)
            stand.end_guard()
            if "does not answer" not in ended.stdout:
                break
        assert ended.returncode == 1, ended.stderr
        assert "cart.yaml:9:5: write 'reverse_left: true' in 'devices.drive:'" in ended.stdout
        assert "cart.yaml:10:3: add 'reverse_left: true' to 'devices.counts:'" in ended.stdout

    def test_a_robot_without_two_ways_to_zero_is_refused(self, stand):
        stand.put(OnAStand(), ROBOT.replace("driver: co_processor\n", "driver: simulated\n"))
        ended = rover(stand, "bring-up", "cart.yaml", "--only", "battery")
        assert ended.returncode == 2
        assert "two independent ways to zero" in ended.stderr

    def test_the_names_of_the_checks_are_those_on_the_command_line(self):
        assert list(walk.CHECKS) == list(CHECK_NAMES)
