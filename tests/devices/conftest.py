"""The kernel's interfaces on a computer without pins: its PWM files, and the package `gpiod` at its seam."""

import errno
import os
import sys
import types
from enum import Enum
from pathlib import Path
from types import SimpleNamespace

import pytest

MS = 1_000_000


class PwmTree:
    """`/sys/class/pwm` as the kernel documents it, with its rules: what it would refuse fails here as well.

    Attributes:
        written: (channel, file, text) in the order of writing.
    """

    def __init__(self, root: Path) -> None:
        self.root, self.written = root, []
        (root / "pwmchip0").mkdir()
        (root / "pwmchip0" / "npwm").write_text("2\n")
        for name in ("export", "unexport"):
            (root / "pwmchip0" / name).write_text("")

    def add_channel(self, channel, **values):
        folder = self.root / "pwmchip0" / f"pwm{channel}"
        folder.mkdir()
        for name, value in {"period": 0, "duty_cycle": 0, "polarity": "normal", "enable": 0, **values}.items():
            (folder / name).write_text(f"{value}\n")

    def value(self, channel, name):
        return (self.root / "pwmchip0" / f"pwm{channel}" / name).read_text().split("\n")[0]

    def is_silent(self, channel):
        return self.value(channel, "duty_cycle") == "0" and self.value(channel, "enable") == "0"

    def check(self, path, text):
        """Raise what the kernel would for a write of `text`, as in its drivers/pwm/core.c and sysfs.c."""
        name, folder = path.name, path.parent
        now = {file.name: file.read_text().split("\n")[0] for file in folder.iterdir()}
        state = now | {name: text}
        if name == "polarity" and now["enable"] == "1":
            raise OSError(errno.EBUSY, os.strerror(errno.EBUSY))
        if name != "period" and state["period"] == "0":
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        if int(state["duty_cycle"]) > int(state["period"]):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        self.written.append((int(folder.name.removeprefix("pwm")), name, text))


@pytest.fixture
def pwm(tmp_path, monkeypatch):
    root = tmp_path / "pwm"
    root.mkdir()
    tree, pwrite = PwmTree(root), os.pwrite

    def checked(descriptor, data, offset):
        path = Path(os.readlink(f"/proc/self/fd/{descriptor}"))
        if path.is_relative_to(root):
            tree.check(path, data.decode().strip())
        return pwrite(descriptor, data, offset)

    monkeypatch.setattr(os, "pwrite", checked)
    return tree


class Value(Enum):
    INACTIVE = 0
    ACTIVE = 1

    def __bool__(self):
        return self is Value.ACTIVE


class EdgeType(Enum):
    RISING_EDGE = 1
    FALLING_EDGE = 2


class Request:
    """A line request with the method names of `gpiod`, version 2."""

    def __init__(self, board, lines, settings):
        self._board, self._lines, self.settings = board, lines, settings

    def set_values(self, values):
        assert set(values) <= set(self._lines)
        for line, value in values.items():
            self._board.level[line] = bool(value)
        self._board.history.append({line: bool(value) for line, value in values.items()})

    def get_values(self, lines):
        return [Value(int(self._board.level[line])) for line in lines]

    def wait_edge_events(self, timeout):
        return bool(self._events())

    def read_edge_events(self, most):
        events = self._events()[:most]
        for event in events:
            self._board.events.remove(event)
        return events

    def release(self):
        self._board.held -= set(self._lines)

    def _events(self):
        return [event for event in self._board.events if event.line_offset in self._lines]


class Board:
    """A chip of 32 lines: the test sets levels and makes edges, the drivers' requests see them.

    Attributes:
        history: what was written to outputs, write by write.
        held: the lines that are requested now.
    """

    CHIP = "/dev/gpiochip0"

    def __init__(self):
        self.level = dict.fromkeys(range(32), False)
        self.events, self.history, self.requests = [], [], []
        self.held, self.refusal = set(), None
        self.sequence = 0

    def edge(self, line, rising, at_ns):
        self.level[line] = rising
        self.sequence += 1
        kind = EdgeType.RISING_EDGE if rising else EdgeType.FALLING_EDGE
        self.events.append(
            SimpleNamespace(line_offset=line, event_type=kind, timestamp_ns=at_ns, global_seqno=self.sequence)
        )

    def request_lines(self, path, config, consumer, event_buffer_size):
        (lines, settings), *_ = config.items()
        if self.refusal is not None:
            raise self.refusal
        if any(line >= 32 for line in lines):
            raise OSError(errno.EINVAL, "Invalid argument")
        if self.held & set(lines):
            raise OSError(errno.EBUSY, "Device or resource busy")
        self.held |= set(lines)
        self.requests.append(Request(self, lines, settings))
        if settings.direction == "output":
            self.requests[-1].set_values(dict.fromkeys(lines, settings.output_value))
        return self.requests[-1]


@pytest.fixture
def board(monkeypatch):
    board = Board()
    line = types.ModuleType("gpiod.line")
    line.Value = Value
    line.Direction = SimpleNamespace(INPUT="input", OUTPUT="output")
    line.Edge = SimpleNamespace(BOTH="both")
    line.Bias = SimpleNamespace(AS_IS="as is", DISABLED="disabled", PULL_UP="up", PULL_DOWN="down")
    line.Clock = SimpleNamespace(MONOTONIC="monotonic")
    package = types.ModuleType("gpiod")
    package.line, package.LineSettings, package.request_lines = line, SimpleNamespace, board.request_lines
    monkeypatch.setitem(sys.modules, "gpiod", package)
    monkeypatch.setitem(sys.modules, "gpiod.line", line)
    return board
