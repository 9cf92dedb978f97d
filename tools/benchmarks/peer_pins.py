"""The judge on pins: plain files laid out as the kernel lays out its PWM files, looked at each millisecond.

``python peer_pins.py FOLDER`` makes ``FOLDER/pwm`` and ``FOLDER/lines``; like ``peer.py``, and with nothing of the
project, it writes a line into ``FOLDER/applied`` at every change of duty (per mille) and servo pulse (us).
"""

import os
import select
import sys
import time
from pathlib import Path

from peer import Applied, be_on_time

LEFT, RIGHT, SERVO = range(3)


def serve_pins(folder: Path) -> None:
    """Be a PWM chip of three channels (left, right, servo) until standard input ends."""
    chip = folder / "pwm" / "pwmchip0"
    (folder / "lines").mkdir()
    for channel in range(3):
        (chip / f"pwm{channel}").mkdir(parents=True)
        for name, content in (("period", "0"), ("duty_cycle", "0"), ("polarity", "normal"), ("enable", "0")):
            (chip / f"pwm{channel}" / name).write_text(f"{content}\n")
    for name, content in (("npwm", "3\n"), ("export", ""), ("unexport", "")):
        (chip / name).write_text(content)
    channels = [
        [os.open(chip / f"pwm{channel}" / name, os.O_RDONLY) for name in ("duty_cycle", "period", "enable")]
        for channel in range(3)
    ]
    book = Applied(folder / "applied")
    print(time.monotonic_ns(), flush=True)
    while not select.select([0], [], [], 0.001)[0]:
        left, right, servo = ([number_in(file) for file in files] for files in channels)
        duties = (1000 * duty // period if is_on and period else 0 for duty, period, is_on in (left, right))
        book.note(time.monotonic_ns(), *duties, servo[0] // 1000 if servo[2] else 0)


def number_in(file: int) -> int:
    """Return the number in the first line of an open file."""
    return int(os.pread(file, 32, 0).split(b"\n")[0] or b"0")


if __name__ == "__main__":
    be_on_time()
    serve_pins(Path(sys.argv[1]))
