"""Outputs of one's own on the robot: their drivers are at work in a process that brings them to rest by itself.

The motor guard cannot hold a driver of a person's own, and what dies with the runtime brings nothing to rest. So the
runtime starts this file as a process of its own, and writes each step's commands to its standard input. An output
whose command has ended goes to rest; when the runtime is gone, all do, and the process ends.
"""

import contextlib
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
SLOW = "their process takes no commands: a driver does not return from apply()"


class OutputsApart:
    """Outputs at work in a process of their own.

    Raises:
        LoadError: a driver cannot be had.
    """

    def __init__(self, robot: Robot, seed: int) -> None:
        self._names = tuple(robot.outputs)
        self._moving = [name for name, keys in robot.outputs.items() if keys.moves]
        self._process = subprocess.Popen(
            [sys.executable, "-m", "rover.session.outputs_apart"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # a Ctrl-C at the terminal is for the runtime
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        self.processes = [self._process.pid]
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._to, self._from = self._process.stdin.fileno(), self._process.stdout.fileno()
        pickle.dump((robot, seed), self._process.stdin)
        self._process.stdin.flush()
        self._unwritten = self._unread = b""
        self._trouble = ""
        self._is_closed = False
        self._news = Changes()
        os.set_blocking(self._to, False)
        os.set_blocking(self._from, False)
        self._wait_until_ready()

    def _wait_until_ready(self) -> None:
        ends_s = time.monotonic() + READY_WITHIN_S
        why = f"the outputs' drivers were not there within {READY_WITHIN_S:.0f} s"
        while time.monotonic() < ends_s:
            if select.select([self._from], [], [], LOOK_EVERY_S)[0]:
                for said in self._read():
                    if "ready" in said:
                        return
                    why = said["failed"]
                    break
            if self._process.poll() is not None:
                break
        self.close()
        raise LoadError(why)

    def tell(self, commands: Commands, now_ns: int) -> None:
        """Pass a step's commands on; what the process does not take in time is left out, and said."""
        if self._is_closed:
            return
        trouble = SLOW if self._unwritten else ""
        if not self._unwritten:
            self._unwritten = json.dumps(commands).encode() + b"\n"
        try:
            self._unwritten = self._unwritten[os.write(self._to, self._unwritten) :]
        except BlockingIOError:
            trouble = SLOW
        except OSError:
            trouble = "their process has ended"
        if trouble != self._trouble:
            self._trouble = trouble
            self._news.faults += [(name, trouble or BACK) for name in self._names]
            self._news.stops += [f"{name}: {trouble}" for name in self._moving if trouble]

    def changes(self) -> Changes:
        """Return what has changed since the last call."""
        news, self._news = self._news, Changes()
        for said in self._read():
            news.faults += [(name, why) for name, why in said["faults"]]
            news.stops += said["stops"]
        return news

    def close(self) -> None:
        """Have all brought to rest, and the process end; a second call does nothing."""
        self._is_closed = True
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        try:
            self._process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

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
    _say(answers, {"ready": []})
    try:
        _keep(outputs, answers)
    finally:
        outputs.close()


def _keep(outputs: OutputsHere, answers: int) -> None:
    unread = b""
    while True:
        if select.select([0], [], [], LOOK_EVERY_S)[0]:
            chunk = os.read(0, 65536)
            if not chunk:
                return
            *lines, unread = (unread + chunk).split(b"\n")
            if lines:  # what waited is past: the last line is what is wanted
                commands = [(name, OutputCommand(*command)) for name, command in json.loads(lines[-1])]
                outputs.tell(commands, time.monotonic_ns())
        outputs.rest_where_due(time.monotonic_ns())
        news = outputs.changes()
        if news.faults or news.stops:
            _say(answers, {"faults": news.faults, "stops": news.stops})


def _say(answers: int, what: dict[str, object]) -> None:
    with contextlib.suppress(OSError):  # nobody listens any more; the end of input tells the same
        os.write(answers, json.dumps(what).encode() + b"\n")


if __name__ == "__main__":
    main()
