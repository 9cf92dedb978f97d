"""A robot on a stand: an emulated co-processor with wheels in the air, the real guard, and a person's answers."""

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from rover.files import load
from rover.guard.launch import is_at_work, retire
from rover.link.emulated_hardware import EmulatedHardware, HardwareState
from rover.link.emulator import Emulator
from rover.readiness import bring_up, motors, sensors, stand
from rover.readiness.finding import Finding
from rover.readiness.person import Person

COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
STRAIGHT = ((1, 0), (0, 1))
TRIES = 6
# What the guard says of a co-processor that is held up, as the emulated one is on a computer that is too busy.
HELD_UP = ("does not answer", "has not been understood", "commands came too late")

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


def was_held_up(said: str) -> bool:
    """Tell whether this computer was too busy to answer like a co-processor."""
    return any(words in said for words in HELD_UP)


class OnAStand(EmulatedHardware):
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


class Answers(Person):
    """A person whose answers are known beforehand, by a word of the question.

    Args:
        answers: by the word.
        act: what is done at a question, before it is answered.
        steps: how often the robot is looked after until then.
    """

    def __init__(self, answers: Mapping[str, str], act: Callable[[str], object] = str, steps: int = 1) -> None:
        self.asked: list[str] = []
        super().__init__(-1, self.asked.append, "")
        self._answers, self._act, self._steps = answers, act, steps

    def ask(self, question: str, meanwhile: Callable[[], object] | None = None) -> str:
        self.asked.append(question)
        self._act(question)
        for _ in range(self._steps if meanwhile else 0):
            meanwhile()
        return next(answer for word, answer in self._answers.items() if word in question)


class Stand:
    """Robot file, guard folder and emulator of a machine.

    Attributes:
        asked: what the person of the latest check was asked.
    """

    def __init__(self, folder: Path, closing: ExitStack) -> None:
        self.folder, self.guard = folder, folder / "guard"
        self.asked: list[str] = []
        self._closing, self._records = closing, 0
        self.file = folder / "cart.yaml"
        closing.callback(self.end_guard)

    def put(self, more: str = "", *, without: str = "no line has this", **machine: Any) -> None:
        """Set a machine up, with more lines in its file and without those that have a word."""
        self._closing.callback(Emulator(OnAStand(**machine), self.folder / "main").close)
        lines = [line for line in ROBOT.splitlines() if without not in line]
        text = "\n".join([*lines, more]).replace("PORT", str(self.folder / "main"))
        self.file.write_text(f"{text}\n", encoding="utf-8")

    def end_guard(self) -> None:
        if is_at_work(self.guard):
            retire(self.guard)

    def find(self, name: str, answers: Mapping[str, str] | None = None, **person: Any) -> Finding:
        """Make one check; again where this computer was too busy to answer like a co-processor."""
        asked = None if answers is None else Answers(answers, **person)
        for _ in range(TRIES):
            self._records += 1
            where = self.guard, self.folder / f"{self._records}.sqlite"
            result = bring_up.bring_up(load.load(self.file, "robot"), where, [name], asked, lambda _: None)
            self.end_guard()
            if not was_held_up(result.findings[0].measured):
                break
        self.asked = [] if asked is None else asked.asked
        return result.findings[0]

    def rover(self, *arguments: str, typed: str = "") -> "subprocess.CompletedProcess[str]":
        """Run the command in a process of its own, answers typed beforehand; again as `find`."""
        for _ in range(TRIES):
            ended = subprocess.run(
                [*COMMAND, "bring-up", "cart.yaml", *arguments, "--guard", str(self.guard)],
                input=typed,
                capture_output=True,
                text=True,
                timeout=120,
                cwd=self.folder,
                env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
            )
            self.end_guard()
            if not was_held_up(ended.stdout):
                break
        return ended


@pytest.fixture(name="stand")
def stand_of_a_test() -> Iterator[Stand]:
    with ExitStack() as closing:
        # A short name: the path of a socket has room for 107 characters.
        yield Stand(Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="b-"))), closing)


@pytest.fixture
def shorter_trials(monkeypatch):
    """The battery monitor still speaks in each of them."""
    monkeypatch.setattr(motors, "TRIAL_S", 0.7)
    for module in (stand, sensors):
        monkeypatch.setattr(module, "REST_S", 1.5)
