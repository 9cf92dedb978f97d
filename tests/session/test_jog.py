"""Jog: the keys by themselves, then the real command on a pseudo-terminal, its motion read off the emulated device."""

import os
import select
import signal
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.commands.jog import NO_TERMINAL
from rover.devices.readings import RangeValue, Reading
from rover.events import Note, Stop
from rover.files import load
from rover.guard.launch import is_at_work, retire
from rover.link.emulated_firmware import Firmware
from rover.link.emulated_hardware import WheelsFree
from rover.link.emulator import Emulator
from rover.record.reader import read
from rover.session.by_hand import TimedReading
from rover.session.jog import Steering
from rover.session.jog_keys import KEYS, WORD_LASTS_NS, HoldToRun, Key, keys_in

pytestmark = pytest.mark.real_time

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
CART = load.load(ROOT / "config" / "cart.yaml", "robot").model
MOST_NS = 300_000_000
REPEATED_EVERY_S = 0.03
ROBOT = """\
robot: On a stand
body: {wheel_diameter: 72 mm, track: 24 cm, counts_per_rev: 1320, gripper_reach: 16 cm}
links:
  main: {port: PORT}
devices:
  drive: {driver: co_processor, link: main}
  counts: {driver: co_processor, link: main}
  heading: {driver: co_processor, link: main}
  battery: {driver: co_processor, link: main}
"""


class TestKeys:
    @pytest.mark.parametrize(
        ("typed", "keys"),
        [
            (b"wxad", [Key.FORWARDS, Key.BACKWARDS, Key.LEFT, Key.RIGHT]),
            (b"\x1b[A\x1b[B\x1b[D\x1b[C", [Key.FORWARDS, Key.BACKWARDS, Key.LEFT, Key.RIGHT]),
            (b"\x1bOA", [Key.FORWARDS]),
            (b" rg+=-q\x04", [Key.STOP, Key.RESET, Key.RESUME, Key.FASTER, Key.FASTER, Key.SLOWER, Key.QUIT, Key.QUIT]),
            (b"W\x1b[Zikjl", [Key.OTHER] * 6),
        ],
    )
    def test_each_key_has_one_meaning(self, typed, keys):
        assert keys_in(typed) == (keys, b"")

    @given(st.lists(st.sampled_from([*KEYS, b"\x1b[A", b"\x1bOC"])), st.integers(1, 5))
    def test_it_does_not_matter_in_which_pieces_keys_come(self, presses, size):
        typed = b"".join(presses)
        keys, rest = [], b""
        for start in range(0, len(typed), size):
            found, rest = keys_in(rest + typed[start : start + size])
            keys += found
        assert (keys, rest) == keys_in(typed)


class TestHoldToRun:
    def test_a_word_holds_for_a_fifth_of_a_second_and_then_no_longer(self):
        held = HoldToRun()
        held.press(Key.FORWARDS, 1000)
        assert held.wanted(CART, 1000 + WORD_LASTS_NS - 1).speed > 0.0
        assert held.wanted(CART, 1000 + WORD_LASTS_NS) is None
        assert WORD_LASTS_NS < MOST_NS

    @pytest.mark.parametrize("key", [Key.STOP, Key.RESET, Key.RESUME, Key.FASTER, Key.SLOWER, Key.OTHER, Key.QUIT])
    def test_any_other_key_ends_it_at_once(self, key):
        held = HoldToRun()
        held.press(Key.LEFT, 1000)
        held.press(key, 1001)
        assert held.wanted(CART, 1001) is None

    @given(st.lists(st.sampled_from([Key.FASTER, Key.SLOWER]), max_size=40), st.sampled_from(sorted(KEYS)))
    def test_no_number_of_keys_leads_past_the_limits(self, presses, last):
        held = HoldToRun()
        for key in [*presses, KEYS[last]]:
            held.press(key, 0)
        wanted = held.wanted(CART, 1)
        assert wanted is None or (
            0.0 < abs(wanted.speed) <= CART.limits.speed or 0.0 < abs(wanted.turn_rate) <= CART.limits.turn_rate
        )


class TestSteering:
    def test_speed_grows_along_the_ramp_and_begins_anew_after_a_rest(self):
        held, steering = HoldToRun(), Steering(CART)
        held.press(Key.FORWARDS, 0)
        duties = [steering.duties(held.wanted(CART, 1), step * 20_000_000)[0] for step in range(1, 8)]
        assert duties == sorted(duties)
        assert duties[0] < duties[-1]
        steering.rest()
        assert steering.duties(held.wanted(CART, 1), 160_000_000)[0] == pytest.approx(duties[0])

    def test_left_turns_the_right_wheels_forwards_and_the_left_ones_back(self):
        held, steering = HoldToRun(), Steering(CART)
        held.press(Key.LEFT, 0)
        left, right = steering.duties(held.wanted(CART, 1), 20_000_000)
        assert left < 0.0 < right

    def test_something_close_ahead_takes_the_way_forwards_but_not_back(self):
        held, steering = HoldToRun(), Steering(CART)
        steering.hear([TimedReading(0, "range", Reading(0, 0, RangeValue(0.05)))])
        held.press(Key.FORWARDS, 0)
        assert steering.duties(held.wanted(CART, 1), 20_000_000) == (0.0, 0.0)
        assert steering.causes == ("obstacle",)
        held.press(Key.BACKWARDS, 0)
        assert max(steering.duties(held.wanted(CART, 1), 40_000_000)) < 0.0


def wait_for(condition: Callable[[], object]) -> None:
    """Wait for a condition to come true; real processes are at work, so only a generous limit ends the wait."""
    for _ in range(10_000):
        if condition():
            return
        time.sleep(0.003)
    raise AssertionError("the condition never came true")


class Terminal:
    """A pseudo-terminal with `rover jog` on it, or another command that jogs. ``screen`` is what has been shown."""

    def __init__(self, folder: Path, *command: str) -> None:
        self._near, self._far = os.openpty()
        os.set_blocking(self._near, False)
        self.before = termios.tcgetattr(self._far)
        self.screen, self._read = "", 0
        self.process = subprocess.Popen(
            [*COMMAND, *(command or ("jog", "cart.yaml")), "--guard", str(folder / "guard")],
            stdin=self._far,
            stdout=self._far,
            stderr=self._far,
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )

    def type(self, keys: bytes) -> int:
        """Type keys; return when that was done (ns)."""
        self._read = len(self.look())
        os.write(self._near, keys)
        self.look()
        return time.monotonic_ns()

    def look(self) -> str:
        """Return all that has been shown so far."""
        while select.select([self._near], [], [], 0.0)[0]:
            self.screen += os.read(self._near, 4096).decode()
        return self.screen

    def shows(self, text: str) -> None:
        """Wait until a text is shown, since the last keys or what was waited for last."""
        try:
            wait_for(lambda: text in self.look()[self._read :])
        except AssertionError:
            raise AssertionError(f"no {text!r} in {self.screen[self._read :][:600]!r}") from None
        self._read = len(self.screen)

    def attributes(self) -> list[object]:
        return termios.tcgetattr(self._far)

    def end(self) -> int:
        """End it by its key; return the exit code."""
        self.type(b"q")
        wait_for(lambda: (self.look(), self.process.poll() is not None)[1])
        return self.process.returncode

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        os.close(self._near)
        os.close(self._far)


class Stand:
    """A robot file, an emulated co-processor whose own deadline is off, and terminals."""

    def __init__(self, folder: Path, closing: ExitStack) -> None:
        self.folder, self._closing = folder, closing
        closing.callback(self._end_guard)
        self.emulator = Emulator(WheelsFree(), folder / "main", firmware=Firmware(deadline_ms=None))
        closing.callback(self.emulator.close)
        (folder / "cart.yaml").write_text(ROBOT.replace("PORT", str(folder / "main")), encoding="utf-8")

    def _end_guard(self) -> None:
        if is_at_work(self.folder / "guard"):
            retire(self.folder / "guard")

    def jog(self, *command: str) -> Terminal:
        terminal = Terminal(self.folder, *command)
        self._closing.callback(terminal.close)
        terminal.shows("STOPPED")
        return terminal

    @property
    def duty(self) -> tuple[float, float]:
        return self.emulator.applied[-1][1:]

    def is_moving(self) -> bool:
        return self.duty != (0.0, 0.0)

    def hold(self, terminal: Terminal, key: bytes) -> int:
        """Repeat a key as a terminal does until the wheels turn; return the time (ns) of the last one."""
        for _ in range(1000):
            typed_ns = terminal.type(key)
            if self.is_moving():
                return typed_ns
            time.sleep(REPEATED_EVERY_S)
        raise AssertionError(f"the wheels never turned; the terminal shows {terminal.screen[-200:]}")

    def come_to_rest(self) -> int:
        """Wait until the wheels have stood for a while; return since when (ns)."""
        wait_for(lambda: not self.is_moving() and time.monotonic_ns() - self.emulator.applied[-1].now_ns > 2 * MOST_NS)
        return self.emulator.applied[-1].now_ns

    def get_going(self, terminal: Terminal) -> None:
        """Permit motion and drive; again where this computer was too busy to answer like a co-processor."""
        self.hold(terminal, b"rgw")

    def record(self) -> Path:
        return max((self.folder / "runs").glob("*.sqlite"), key=lambda path: path.stat().st_mtime)


@pytest.fixture
def stand() -> Iterator[Stand]:
    with ExitStack() as closing:
        # A short name: the path of a socket has room for 107 characters.
        yield Stand(Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="j-"))), closing)


@pytest.mark.parametrize(
    ("key", "ways"), [(b"w", (1, 1)), (b"\x1b[B", (-1, -1)), (b"a", (-1, 1)), (b"\x1b[C", (1, -1))]
)
def test_it_moves_only_while_a_key_is_held(stand, key, ways):
    terminal = stand.jog()
    stand.get_going(terminal)
    stand.come_to_rest()
    last_ns = stand.hold(terminal, key)
    assert all(way * duty > 0.0 for way, duty in zip(ways, stand.duty, strict=True))
    assert stand.come_to_rest() - last_ns <= MOST_NS


def test_the_guard_ends_it_when_the_program_stands_still(stand):
    terminal = stand.jog()
    stand.get_going(terminal)
    last_ns = stand.hold(terminal, b"a")
    wait_for(lambda: time.monotonic_ns() - last_ns > MOST_NS // 2)
    terminal.process.send_signal(signal.SIGSTOP)
    assert stand.come_to_rest() - last_ns <= MOST_NS
    changes = len(stand.emulator.applied)
    terminal.type(b"aaaaa")
    terminal.process.send_signal(signal.SIGCONT)
    for _ in range(3):
        terminal.shows("30%")
    assert len(stand.emulator.applied) == changes, "what was typed meanwhile is not a word of now"


def test_keys_move_nothing_before_motion_has_been_permitted(stand):
    terminal = stand.jog()
    terminal.type(b"wwwww\x1b[A\x1b[A")
    terminal.shows("STOPPED: power-up")
    assert len(stand.emulator.applied) == 1


def test_a_stop_latches_until_reset_and_resume(stand):
    terminal = stand.jog()
    stand.get_going(terminal)
    stand.come_to_rest()
    terminal.type(b" ")
    terminal.shows("STOPPED: stopped at the ")
    changes = len(stand.emulator.applied)
    terminal.type(b"www\x1b[A\x1b[Dg")
    terminal.shows("STOPPED: stopped at the ")
    terminal.type(b"r")
    terminal.shows("reset; g permits motion")
    terminal.type(b"www\x1b[A\x1b[D")
    terminal.shows("reset; g permits motion")
    assert len(stand.emulator.applied) == changes
    terminal.type(b"g")
    terminal.shows("running")
    assert len(stand.emulator.applied) == changes, "resuming moves nothing by itself"
    stand.hold(terminal, b"w")


def test_a_stop_outlives_the_program(stand):
    first = stand.jog()
    stand.get_going(first)
    stand.come_to_rest()
    first.type(b" ")
    assert first.end() == 0
    changes = len(stand.emulator.applied)
    second = stand.jog()
    second.shows("STOPPED: stopped at the ")
    second.type(b"gwww")
    second.shows("STOPPED: stopped at the ")
    assert len(stand.emulator.applied) == changes
    stand.get_going(second)


def test_it_leaves_terminal_guard_and_record_in_order(stand):
    terminal = stand.jog()
    stand.get_going(terminal)
    stand.come_to_rest()
    terminal.shows("+0.0 deg")
    for told in (" 12.", "30%", "counts"):
        assert told in terminal.screen
    terminal.type(b"+")
    terminal.shows("40%")
    assert terminal.end() == 0
    assert terminal.attributes() == terminal.before
    assert not is_at_work(stand.folder / "guard")
    run = read(stand.record())
    assert run.outcome.result == "done"
    assert run.header["title"] == "Jog: On a stand"
    assert run.header["file:cart.yaml"] == (stand.folder / "cart.yaml").read_text()
    assert Note("jog", "forwards") in run.events_of(Note)
    assert run.events_of(Stop)[0].cause.startswith("power-up")


def test_it_refuses_to_start_without_a_terminal(stand):
    ended = subprocess.run(
        [*COMMAND, "jog", "cart.yaml"],
        input="www",
        capture_output=True,
        text=True,
        timeout=60,
        cwd=stand.folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert ended.returncode == 2
    assert ended.stderr == f"{NO_TERMINAL}\n"
    assert not (stand.folder / "runs").exists()
