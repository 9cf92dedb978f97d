"""Bring-up with the real guard and an emulated co-processor that has each mistake; and the command."""

import json

import cv2
import pytest

from rover.readiness.finding import Verdict

# A guard with a latched stop outlives its program, which here is this process: its supervisor is meant to go on.
pytestmark = [
    pytest.mark.real_time,
    pytest.mark.filterwarnings("ignore:Exception ignored in. <function Popen.__del__"),
]

CROSSED = ((0, 1), (1, 0))
FINE = Verdict.AS_EXPECTED


@pytest.mark.usefixtures("shorter_trials")
class TestOnTheStand:
    def test_a_robot_that_is_right(self, stand):
        stand.put()
        finding = stand.find("motors")
        assert (finding.verdict, finding.mistakes) == (FINE, ()), finding

    @pytest.mark.parametrize(
        ("machine", "mistake", "change"),
        [
            (
                {"motors": CROSSED},
                "swapped channels",
                "cart.yaml:6:3: add 'swap_sides: true' to 'devices.drive:'",
            ),
            (
                {"motors": ((-1, 0), (0, 1))},
                "swapped sign: the left",
                "cart.yaml:9:5: write 'reverse_left: true' in 'devices.drive:'",
            ),
            ({"motors": ((1, 1), (1, 1))}, "coupled wiring", ""),
            ({"encoders": ((0, 0), (0, 1))}, "dead encoder: with the left motor", ""),
            ({"motors": ((1, 0), (0, 0))}, "dead motor: the right motor", ""),
        ],
    )
    def test_the_encoders_alone_tell_the_mistake_and_the_line(self, stand, machine, mistake, change):
        stand.put(**machine)
        finding = stand.find("motors")
        assert finding.verdict is Verdict.OTHERWISE
        assert finding.mistakes[0].startswith(mistake)
        assert [str(each).removeprefix(f"{stand.folder}/") for each in finding.changes] == [change] * bool(change)

    def test_with_a_person_swapped_encoders_are_told_from_swapped_motors(self, stand):
        stand.put(encoders=CROSSED)
        answers = {"The left motor": "left", "The right motor": "right", "Which way": "forwards"}
        finding = stand.find("motors", answers)
        assert finding.mistakes == ("swapped channels: left and right encoder are the wrong way round",)
        assert [change.line for change in finding.changes] == [10]
        assert "add 'swap_sides: true' to 'devices.counts:'" in finding.in_full()
        assert len(stand.asked) == 4

    def test_jaws_that_push_on_at_an_end_are_told_with_the_line(self, stand):
        stand.put(stalls=True)
        finding = stand.find("gripper")
        assert finding.mistakes == ("the jaws do not come to rest at 'closed'",)
        assert str(finding.changes[0]).endswith("cart.yaml:12:3: add 'closed: 1140 us' to 'devices.gripper:'")

    def test_what_is_read_at_rest_is_as_the_machine_says(self, stand):
        stand.put()
        assert stand.find("battery").measured == "12.30 V"
        assert "calibration 3 of 3" in stand.find("heading").measured
        assert "damaged; emulator 1" in stand.find("link").measured  # how many depends on how busy this computer is
        assert stand.find("stop_input").verdict is Verdict.NOT_TRIED


STOP_PIN = """\
  stop_input: {driver: stop_pin, gpio: PINS, pin: 4}
"""


class TestStopInput:
    @pytest.fixture
    def contact(self, stand):
        """The file in which the level of the stop's line stands: high is open."""
        (stand.folder / "pins").mkdir()
        stand.put(STOP_PIN.replace("PINS", str(stand.folder / "pins")))
        return stand.folder / "pins" / "line4"

    def test_it_is_pressed_and_released_and_the_stop_is_reset(self, stand, contact):
        def act(question):
            if "Reset" not in question:
                contact.write_text("1" if "Press" in question else "0")

        contact.write_text("0")
        finding = stand.find("stop_input", {"Press": "", "Release": "", "Reset": "yes"}, act=act, steps=20)
        assert finding.measured == "closed; pressed: open, stopped; released: closed"
        assert finding.verdict is FINE

    def test_one_that_is_not_seen_to_open_is_refused_with_what_may_be_the_cause(self, stand, contact):
        """As on a chip without pull resistors: the kernel takes the bias, and the open pin reads closed."""
        contact.write_text("0")
        finding = stand.find("stop_input", {"Press": "", "Release": "", "Reset": "no"}, steps=20)
        assert finding.measured.startswith("closed; pressed: closed, ")
        assert finding.verdict is Verdict.OTHERWISE
        assert "a chip without pull resistors" in finding.advice[0]

    def test_one_that_nobody_presses_is_not_proven(self, stand, contact):
        contact.write_text("0")
        finding = stand.find("stop_input")
        assert finding.verdict is Verdict.NOTED
        assert "before it is pressed" in finding.advice[0]

    @pytest.mark.usefixtures("shorter_trials")
    def test_motors_turn_while_it_is_closed(self, stand, contact):
        contact.write_text("0")
        assert stand.find("stop_input").measured == "closed; not pressed"
        assert stand.find("motors").verdict is FINE

    def test_a_contact_that_is_open_from_the_first_stops_motion_too(self, stand, contact):
        contact.write_text("1")
        assert stand.find("stop_input").measured == "open; not pressed"
        finding = stand.find("motors")
        assert finding.verdict is Verdict.OTHERWISE
        why = "the stop input is open; release the stop button, or look for a broken wire"
        assert finding.measured == f"motion is stopped: {why}"


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
        shades = numpy.random.default_rng(self._number).integers(100, 200, (60, 80, 1), numpy.uint8)
        picture = shades.repeat(3, axis=2)
        picture[:16, :16] = 0, 0, 200
        return Frame(picture, 80, 60)

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
        return lambda family, name: stand.put(
            f"  {family}: {{driver: 'stand_drivers:{name}', rate: 10 Hz}}", without="heading"
        )

    @pytest.mark.usefixtures("shorter_trials")
    @pytest.mark.parametrize(("name", "mistakes"), [("Camera", ()), ("Finder", ("too dark",))])
    def test_frames_are_counted_and_kept_beside_the_record(self, stand, put, name, mistakes):
        """Whether the driver reports frames, or what it found in them."""
        put("camera", name)
        finding = stand.find("camera")
        assert finding.mistakes == mistakes
        assert finding.expected == "10 frames a second, at most 280 ms old"
        frames = sorted((stand.folder / "1.frames").glob("*.jpg"))
        assert frames
        picture = cv2.imread(str(frames[0]))
        assert picture.shape == (60, 80, 3)
        blue, green, red = map(int, picture[6, 6])
        assert (abs(red - 200) < 20, blue < 20, green < 20) == (True, True, True)

    @pytest.mark.usefixtures("shorter_trials")
    def test_the_range_is_asked_for_with_its_unit(self, stand, put):
        put("range", "Box")
        assert stand.find("range", {"ruler": "50 cm"}).measured.startswith("0.502 m")

    def test_the_robot_is_turned_by_hand(self, stand, put):
        put("heading", "Turned")
        finding = stand.find("turn", {"quarter turn to the left": ""}, steps=130)
        assert (finding.verdict, finding.measured) == (FINE, "+84 deg")
        assert stand.find("turn").verdict is Verdict.NOT_TRIED

    def test_a_driver_that_fails_is_told_with_its_error(self, stand, put):
        put("range", "Broken")
        finding = stand.find("range")
        assert (finding.verdict, finding.measured) == (
            Verdict.OTHERWISE,
            "its driver raised RuntimeError: unplugged",
        )


class TestTheCommand:
    def test_json_is_one_object_with_every_check_and_the_record(self, stand):
        stand.put(motors=CROSSED)
        ended = stand.rover("--yes-to-all", "--json", "--only", "link", "--only", "motors")
        result = json.loads(ended.stdout)
        assert (ended.returncode, result["as_expected"]) == (1, False), ended.stderr
        assert [finding["check"] for finding in result["findings"]] == ["link", "motors"]
        assert (stand.folder / result["record"]).exists()

    def test_it_says_first_that_wheels_have_to_be_off_the_ground_and_moves_nothing_without_a_yes(self, stand):
        stand.put()
        refused = stand.rover("--only", "motors", typed="no\n")
        assert refused.returncode == 2
        assert refused.stderr.startswith("First of all: put the robot on a stand, wheels off the ground")
        assert not (stand.folder / "runs").exists()
        silent = stand.rover("--only", "motors", "--json")
        assert (silent.returncode, silent.stdout) == (2, "")
        assert "--yes-to-all" in silent.stderr

    def test_answers_are_taken_from_standard_input(self, stand):
        stand.put()
        typed = "yes\nleft\nbackwards\nright\nforwards\n"
        ended = stand.rover("--only", "motors", typed=typed)
        assert ended.returncode == 1, ended.stderr
        assert "cart.yaml:9:5: write 'reverse_left: true' in 'devices.drive:'" in ended.stdout
        assert "cart.yaml:10:3: add 'reverse_left: true' to 'devices.counts:'" in ended.stdout

    def test_a_robot_whose_drive_moves_nothing_is_refused(self, stand):
        stand.put()
        text = stand.file.read_text("utf-8")
        stand.file.write_text(text.replace("driver: co_processor\n", "driver: simulated\n"), encoding="utf-8")
        ended = stand.rover("--only", "battery")
        assert ended.returncode == 2
        assert "moves nothing; name a real one in the robot file" in ended.stderr
