"""Outputs of one's own on the robot: their drivers are at work in a process that brings them to rest by itself.

The motor guard cannot hold a driver of a person's own, and what dies with the runtime brings nothing to rest. So the
runtime starts this file as a process of its own, for each part that moves and for all others together, and writes each
step's commands to its standard input. An output whose command has ended goes to rest; when the runtime is gone, all do,
and the process ends.
"""

import contextlib
import ctypes
import json
import os
import pickle
import select
import signal
import subprocess
import sys
import time
from typing import Any

from rover.devices.meanwhile import in_a_thread
from rover.devices.protocols import DriverContext
from rover.devices.readings import OutputCommand
from rover.devices.registry import LoadError
from rover.files.robot import Robot
from rover.session.driver import BACK, Changes
from rover.session.outputs import Commands, OutputsHere

READY_WITHIN_S, ENDS_WITHIN_S = 10.0, 3.0
LOOK_EVERY_S = 0.02
ANSWER_WITHIN_NS = 500_000_000
SLOW = "their process does not answer: a driver does not return from apply()"


class OutputsApart:
    """Outputs at work in processes of their own: each that moves something alone, so that no other driver holds it up.

    Raises:
        LoadError: a driver cannot be had.
    """

    def __init__(self, robot: Robot, seed: int) -> None:
        groups = [{name: keys} for name, keys in robot.outputs.items() if keys.moves]
        if harmless := {name: keys for name, keys in robot.outputs.items() if not keys.moves}:
            groups.append(harmless)
        self._keepers: list[_Keeper] = []
        try:
            for outputs in groups:
                self._keepers.append(_Keeper(robot.model_copy(update={"outputs": outputs}), seed))
        except BaseException:
            self.close()
            raise

    def tell(self, commands: Commands, now_ns: int) -> None:
        """Pass a step's commands on; what a process does not take in time is left out, and said."""
        for keeper in self._keepers:
            keeper.tell([(name, command) for name, command in commands if name in keeper.names])

    def changes(self) -> Changes:
        """Return what has changed since the last call."""
        news = Changes()
        for keeper in self._keepers:
            keeper.hear(news)
        return news

    def halt(self, seconds: float) -> None:
        """Have all halted for a time: for the trial of what comes to rest by itself."""
        for keeper in self._keepers:
            keeper.write({"halt": seconds})

    def close(self) -> None:
        """Have all brought to rest, and the processes end; a second call does nothing."""
        for keeper in self._keepers:
            keeper.begin_to_close()
        for keeper in self._keepers:
            keeper.close()


class _Keeper:
    """A process that keeps some outputs."""

    def __init__(self, robot: Robot, seed: int) -> None:
        self.names = tuple(robot.outputs)
        self._moving = [name for name, keys in robot.outputs.items() if keys.moves]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "rover.session.outputs_apart"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # a Ctrl-C at the terminal is for the runtime
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self._to, self._from = self.process.stdin.fileno(), self.process.stdout.fileno()
        pickle.dump((robot, seed), self.process.stdin)
        self.process.stdin.flush()
        self._unwritten = self._unread = b""
        self._asked_ns: int | None = None
        self._trouble = ""
        self._is_closed = False
        self._news = Changes()
        os.set_blocking(self._to, False)
        os.set_blocking(self._from, False)
        self._wait_until_ready()

    def _wait_until_ready(self) -> None:
        ends_s = time.monotonic() + READY_WITHIN_S
        why = f"{', '.join(self.names)}: not there within {READY_WITHIN_S:.0f} s"
        while time.monotonic() < ends_s:
            if select.select([self._from], [], [], LOOK_EVERY_S)[0]:
                for said in self._read():
                    if "ready" in said:
                        return
                    why = said["failed"]
                    break
            if self.process.poll() is not None:
                break
        self.begin_to_close()
        self.close()
        raise LoadError(why)

    def tell(self, commands: Commands) -> None:
        """Pass a step's commands on."""
        if self._is_closed:
            return
        trouble = self.write({"commands": commands})
        now_ns = time.monotonic_ns()
        self._asked_ns = now_ns if self._asked_ns is None else self._asked_ns
        if now_ns - self._asked_ns > ANSWER_WITHIN_NS:
            trouble = trouble or SLOW
        if trouble != self._trouble:
            self._trouble = trouble
            self._news.faults += [(name, trouble or BACK) for name in self.names]
            self._news.stops += [f"{name}: {trouble}" for name in self._moving if trouble]

    def write(self, what: dict[str, object]) -> str:
        """Write a line, if the last one has gone out; return what is wrong, or ''."""
        if not self._unwritten:
            self._unwritten = json.dumps(what).encode() + b"\n"
        try:
            self._unwritten = self._unwritten[os.write(self._to, self._unwritten) :]
        except BlockingIOError:
            return SLOW
        except OSError:
            return "their process has ended"
        return SLOW if self._unwritten else ""

    def hear(self, news: Changes) -> None:
        """Add what has changed since the last call."""
        heard, self._news = self._news, Changes()
        news.faults += heard.faults
        news.stops += heard.stops
        for said in self._read():
            self._asked_ns = None
            news.faults += [(name, why) for name, why in said["faults"]]
            news.stops += said["stops"]

    def begin_to_close(self) -> None:
        """Have the outputs brought to rest."""
        self._is_closed = True
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def close(self) -> None:
        """Wait for the process to end, or end it."""
        try:
            self.process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()

    def _read(self) -> list[dict[str, Any]]:
        with contextlib.suppress(BlockingIOError):
            self._unread += b"" if self._is_closed else os.read(self._from, 65536)
        *lines, self._unread = self._unread.split(b"\n")
        return [json.loads(line) for line in lines]


def main() -> None:
    """Keep the outputs: commands come in on standard input, what has changed goes out on standard output."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_IGN)  # it ends when its runtime does, and not before all is at rest
    answers = os.dup(1)
    os.dup2(2, 1)  # what a driver prints must not get among the answers
    robot, seed = pickle.load(sys.stdin.buffer)  # from the runtime that started this process
    try:
        outputs = OutputsHere(DriverContext(robot, seed, {}, meanwhile=in_a_thread))
    except LoadError as error:
        _say(answers, {"failed": str(error)})
        return
    outputs.rest_where_due(time.monotonic_ns())
    _say(answers, {"ready": []})
    try:
        _keep(outputs, answers)
    finally:
        outputs.close()


def _keep(outputs: OutputsHere, answers: int) -> None:
    unread = b""
    while True:
        lines: list[bytes] = []
        if select.select([0], [], [], LOOK_EVERY_S)[0]:
            chunk = os.read(0, 65536)
            if not chunk:
                return
            *lines, unread = (unread + chunk).split(b"\n")
        if lines:  # what waited is past: the last line is what is wanted
            asked = json.loads(lines[-1])
            if "halt" in asked:
                halt(asked["halt"])
            commands = [(name, OutputCommand(*command)) for name, command in asked.get("commands", ())]
            outputs.tell(commands, time.monotonic_ns())
        outputs.rest_where_due(time.monotonic_ns())
        news = outputs.changes()
        if lines or news.faults or news.stops:  # each line is answered, so that a driver that hangs is found out
            _say(answers, {"faults": news.faults, "stops": news.stops})


def halt(seconds: float) -> None:
    """Halt this process: no line of Python runs meanwhile, in no thread.

    It is a call into C that does not let go of the interpreter's lock, and ends by itself whoever dies meanwhile.
    SIGSTOP needs somebody for that, and a shell whose job is stopped takes the terminal back.
    """
    ctypes.PyDLL(None).usleep(round(seconds * 1e6))


def _say(answers: int, what: dict[str, object]) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more; the end of input tells the same
        os.write(answers, json.dumps(what).encode() + b"\n")


if __name__ == "__main__":
    main()
