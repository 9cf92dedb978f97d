"""One robot to be killed: its judge (a process of its own), the real program on a terminal, guard and supervisor."""

import contextlib
import fcntl
import os
import select
import signal
import subprocess
import sys
import tempfile
import termios
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

BENCHMARKS = Path(__file__).parent
ROOT = BENCHMARKS.parents[1]
ROBOT = BENCHMARKS / "kill_robot"
PROCESSES = ("runtime", "guard", "supervisor")
WORDS_IN_COMMAND_LINE = {"guard": b"guard", "supervisor": b"supervise"}
ON_STOP = ("hold", "limp", "release")
BOARDS = {"serial without deadline": ("--no-deadline",), "old board": ("--revision=1",)}
PUSH_FOR_S, OPEN_US = 0.5, 1900
KEY_EVERY_S, PERMIT_EVERY_S = 0.03, 0.3
_MOVING_WITHIN_S, _JUDGE_WITHIN_S = 30.0, 10.0
_TICK_S = 0.004


class NotTriedError(Exception):
    """The robot never came to move, so there is nothing to be seen."""


class Change(NamedTuple):
    """What wheels (per mille) and jaws (us; 0: limp) are told from a monotonic time on."""

    now_ns: int
    left: int
    right: int
    pulse_us: int

    @property
    def is_moving(self) -> bool:
        """A wheel is told to turn."""
        return bool(self.left or self.right)


class Judge:
    """A process of ``peer.py`` or ``peer_pins.py``, and its book."""

    def __init__(self, program: str, folder: Path, *options: str) -> None:
        folder.mkdir(exist_ok=True)
        self._book = folder / "applied"
        pipe = subprocess.PIPE
        command = [sys.executable, "-S", "-E", BENCHMARKS / program, folder, *options]
        self._process = subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True)
        self._answer()

    def do(self, *words: object) -> int:
        """Have something done on the line, and return when it was (ns)."""
        assert self._process.stdin is not None
        print(*words, file=self._process.stdin, flush=True)
        return self._answer()

    def _answer(self) -> int:
        assert self._process.stdout is not None
        assert select.select([self._process.stdout], [], [], _JUDGE_WITHIN_S)[0], "the judge does not answer"
        return int(self._process.stdout.readline())

    def history(self) -> list[Change]:
        """Return all changes so far."""
        lines = self._book.read_text("ascii").splitlines()
        return [Change(*map(int, line.split())) for line in lines if line.count(" ") == 3]

    def close(self) -> None:
        """End it."""
        with self._process:
            self._process.kill()


def _there(judge: Judge | None) -> Judge:
    assert judge is not None
    return judge


def _hear_signals() -> None:
    """Take signals as at a terminal, also where whoever started all this has them ignored."""
    for number in (signal.SIGINT, signal.SIGHUP, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)


def _lead_session() -> None:
    _hear_signals()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


class Rig:
    """The robot: made, driving, hit, and cleared away.

    Args:
        folder: an empty one of its own.
        path: ``serial``, one of `BOARDS`, ``pins`` or ``jaws on pins``.
        on_stop: the gripper's.

    Attributes:
        line: the judge on the serial line, None on pins.
        wheels, jaws: who judges them.
        is_key_held: whether a person at `rover jog` keeps the key for driving down.
    """

    def __init__(self, folder: Path, path: str, on_stop: str) -> None:
        self.folder, self.on_stop = folder, on_stop
        self.is_key_held = False
        self._program: subprocess.Popen[bytes] | None = None
        self._terminal, self._said = -1, b""
        self._key_at_s = self._permit_at_s = 0.0
        self._has_moved = False
        self._signalled: list[int] = []
        self.line = None if path == "pins" else Judge("peer.py", folder, *BOARDS.get(path, ()))
        pins = Judge("peer_pins.py", folder / "pins") if path in ("pins", "jaws on pins") else None
        self.wheels, self.jaws = self.line or _there(pins), pins or _there(self.line)
        self._fill_in(ROBOT / {"pins": "pins.yaml", "jaws on pins": "mixed.yaml"}.get(path, "serial.yaml"))

    def _fill_in(self, robot: Path) -> None:
        text = robot.read_text("utf-8").replace("FOLDER", str(self.folder)).replace("ON_STOP", self.on_stop)
        (self.folder / "robot.yaml").write_text(text, "utf-8")
        for name in ("errand.yaml", "behaviour.yaml", "own.py"):
            (self.folder / name).write_bytes((ROBOT / name).read_bytes())

    def start(self, program: str, *, is_session_leader: bool = True) -> None:
        """Start ``run``, ``jog`` or ``light`` on a pseudo-terminal; only a session's leader hears of its end."""
        near, far = os.openpty()
        options = ["--guard", self.folder / "guard", "--drivers", self.folder]
        words: dict[str, list[str | Path]] = {
            "run": ["-m", "rover", "run", "errand.yaml", "--enable-motion", *options],
            "jog": ["-m", "rover", "jog", "robot.yaml", *options],
            "light": [BENCHMARKS / "guard_runtime.py", self.folder],
        }
        self._program = subprocess.Popen(
            [sys.executable, *words[program]],
            stdin=far,
            stdout=far,
            stderr=far,
            start_new_session=True,
            preexec_fn=_lead_session if is_session_leader else _hear_signals,
            cwd=self.folder,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        os.close(far)
        os.set_blocking(near, False)
        self._terminal, self.is_key_held, self._has_moved = near, program == "jog", False

    def tick(self) -> None:
        """Read what the program says, press the key that is held, and wait a little."""
        if self._terminal >= 0:
            with contextlib.suppress(OSError):
                self._said = (self._said + os.read(self._terminal, 65536))[-4000:]
            if self.is_key_held:
                self._press()
        time.sleep(_TICK_S)

    def _press(self) -> None:
        now_s = time.monotonic()
        if now_s >= self._key_at_s:
            self._key_at_s = now_s + KEY_EVERY_S
            is_permit = not self._has_moved and now_s >= self._permit_at_s
            if is_permit:
                self._permit_at_s = now_s + PERMIT_EVERY_S
            self.type_in(b"g" if is_permit else b"i")

    def type_in(self, keys: bytes) -> None:
        """Type."""
        with contextlib.suppress(OSError):
            os.write(self._terminal, keys)

    def hang_up(self) -> None:
        """Take the terminal away."""
        os.close(self._terminal)
        self._terminal = -1

    def watch(self, until: Callable[[], object], seconds: float) -> bool:
        """Tick until something is so, for some seconds at most; tell whether it came to that."""
        end_s = time.monotonic() + seconds
        while not until():
            if time.monotonic() > end_s:
                return False
            self.tick()
        return True

    def drive(self, seconds: float) -> None:
        """Wait until the wheels turn, and let them for so long.

        Raises:
            NotTriedError: they do not, or stand still again.
        """
        if not self.watch(lambda: self.is_moving() or self.has_ended(), _MOVING_WITHIN_S) or self.has_ended():
            raise NotTriedError(f"never moved: {self.said()}")
        self._has_moved = True
        self.watch(lambda: False, seconds)
        if not self.is_moving():
            raise NotTriedError(f"stood still before the fault: {self.said()}")

    def is_moving(self) -> bool:
        """Tell whether a wheel is told to turn."""
        return self.wheels.history()[-1].is_moving

    def has_ended(self) -> bool:
        """Tell whether the program has ended."""
        assert self._program is not None
        return self._program.poll() is not None

    def exit_code(self) -> int | None:
        """Return its exit code, None while it lives."""
        return None if self._program is None else self._program.poll()

    def said(self) -> str:
        """Return the last that the program said, in one line."""
        return " | ".join(self._said.decode(errors="replace").replace("\r", "\n").split("\n"))[-600:]

    def process(self, name: str) -> int:
        """Return the number of a process.

        Raises:
            NotTriedError: there is none.
        """
        for number in self.processes(name):
            return number
        raise NotTriedError(f"there is no {name}")

    def processes(self, name: str) -> list[int]:
        """Return the numbers of all processes that are the runtime, a guard or a supervisor of this robot."""
        if name == "runtime":
            return [] if self._program is None else [self._program.pid]
        return [number for number, words in self._guards() if WORDS_IN_COMMAND_LINE[name] in words]

    def _guards(self) -> Iterator[tuple[int, list[bytes]]]:
        """Yield number and words of every process of this guard's folder, whose name nobody else has."""
        folder = str(self.folder / "guard").encode()
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                with contextlib.suppress(OSError):
                    words = (entry / "cmdline").read_bytes().split(b"\0")
                    if folder in words and b"rover.guard" in words:
                        yield int(entry.name), words

    def signal(self, number: int, names: Sequence[str]) -> int:
        """Send a signal to processes as one, and return when it was (ns)."""
        self._signalled = [self.process(name) for name in names]
        now_ns = time.monotonic_ns()
        self.signal_again(number)
        return now_ns

    def signal_again(self, number: int) -> None:
        """Send a signal to the same processes, as far as they are left."""
        for process in self._signalled:
            with contextlib.suppress(ProcessLookupError):
                os.kill(process, number)

    def close(self) -> None:
        """End what has been started here, by number."""
        self.is_key_held = False
        if self._program is not None:
            self._program.kill()
            self._program.wait()
        # Whoever starts the other one again goes first, and twice, as another may have been on its way.
        for name in ("supervisor", "guard", "supervisor", "guard"):
            for number in self.processes(name):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(number, signal.SIGKILL)
        if self._terminal >= 0:
            self.hang_up()
        for judge in {self.wheels, self.jaws}:
            judge.close()


@contextlib.contextmanager
def rig(path: str, on_stop: str) -> Iterator[Rig]:
    """Make a robot in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="kill-", ignore_cleanup_errors=True) as name:
        made = Rig(Path(name), path, on_stop)
        with contextlib.closing(made):
            yield made
