"""What a person's own code may do to a run: an activity and drivers that drive on, and hang when a file says so.

The file ``hang`` beside this one says which hangs and how, ``activity python`` or ``driver c``; the time (ns) at which
it begins to goes into ``hung``.
"""

import collections
import itertools
import os
import time
from pathlib import Path

from rover import ActivitySpec, HeadingValue, Progress, RangeValue, Reading, Request, WheelCounts

HERE = Path(__file__).parent
TOP_SPEED, TRACK, COUNTS_A_METRE = 0.25, 0.24, 1320 / (3.14159265 * 0.072)


def hang_if_asked(place):
    try:
        where, how = (HERE / "hang").read_text("ascii").split()
    except FileNotFoundError:
        return
    if where != place:
        return
    (HERE / "hung.new").write_text(str(time.monotonic_ns()))
    (HERE / "hung.new").replace(HERE / "hung")
    if how == "c":
        collections.deque(itertools.repeat(0), maxlen=0)  # never gives the lock of the interpreter back
    while True:
        pass


class Round:
    """Drives a circle, jaws closing."""

    spec = ActivitySpec("drive a circle for ever, closing the jaws", {}, ("drive", "gripper"), ends=False)
    progress = Progress.UNDER_WAY
    why = ""

    def __init__(self, known, values):
        pass

    def step(self, known):
        hang_if_asked("activity")
        return Request(speed=0.1, turn_rate=0.4, jaws=0.0)


class Device:
    """A device that takes a reading every so often."""

    rate_hz = 15

    def __init__(self, options, context):
        self.due_ns = self.sequence = 0

    def poll(self, now_ns):
        if now_ns < self.due_ns:
            return []
        self.due_ns = now_ns + 1_000_000_000 // self.rate_hz
        self.sequence += 1
        return [Reading(now_ns, self.sequence, self.value(now_ns))]

    def close(self):
        pass


class Range(Device):
    """Hears no echo."""

    def value(self, now_ns):
        hang_if_asked("driver")
        return RangeValue(None)


class Wheels:
    """How far the wheels have come, by the duty in the PWM files: the encoders of a robot that is not there."""

    files = None
    metres = (0.0, 0.0)
    heading = 0.0
    moved_ns = 0

    @classmethod
    def roll(cls, now_ns):
        folder = HERE / "pins" / "pwm" / "pwmchip0"
        if cls.files is None:
            names = [folder / f"pwm{channel}" / name for channel in (0, 1) for name in ("duty_cycle", "period")]
            cls.files, cls.moved_ns = [os.open(name, os.O_RDONLY) for name in names], now_ns
        numbers = [int(os.pread(file, 32, 0).split(b"\n")[0] or b"0") for file in cls.files]
        seconds, cls.moved_ns = (now_ns - cls.moved_ns) / 1e9, now_ns
        left, right = (TOP_SPEED * duty / (period or 1) * seconds for duty, period in (numbers[:2], numbers[2:]))
        cls.metres = (cls.metres[0] + left, cls.metres[1] + right)
        cls.heading += (right - left) / TRACK


class Counts(Device):
    """Encoder counts."""

    rate_hz = 50

    def value(self, now_ns):
        Wheels.roll(now_ns)
        return WheelCounts(*(round(metres * COUNTS_A_METRE) for metres in Wheels.metres), 1)


class Heading(Device):
    """A heading sensor."""

    rate_hz = 20

    def value(self, now_ns):
        return HeadingValue(Wheels.heading)
