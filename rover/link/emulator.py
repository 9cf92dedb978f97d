"""A co-processor made of software, byte for byte, for bringing a robot up without its board and for rehearsal.

`CoProcessor` is the protocol and nothing else; `Emulator` puts it behind a pseudo-terminal in a thread of its own.
What drives, turns and grips stands behind the `EmulatedHardware` protocol: the bench, or `WheelsFree`.

The line models: the baud rate both ways, delivery in odd pieces, unplugging. It does not model: bit errors, parity,
the latency timer of a USB adapter, the state of DTR.
"""

import contextlib
import os
import random
import select
import threading
import time
import tty
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from rover.files.robot import BAUD
from rover.link.emulated_firmware import Applied, CoProcessor, Firmware
from rover.link.emulated_hardware import EmulatedHardware
from rover.link.framing import Damage

_NS_PER_S = 1_000_000_000
_TICK_S = 0.001
_TICK_NS = 2_000_000
_BUFFER = 512


class Emulator:
    """A co-processor behind a pseudo-terminal, in a thread of its own; the robot file's ``port:`` names ``path``.

    Any thread may call its methods.

    Args:
        machine: what drives, turns and grips; only the emulator's thread calls it.
        path: a symbolic link made there leads to the pseudo-terminal, so that the name outlives unplugging.
        now_ns: the clock; one that runs faster than real time makes the whole device faster.
        firmware: settings of the device.
        baud: bits a second of the line, by ``now_ns``.
        seed: of the sizes of the pieces in which bytes are delivered.
    """

    def __init__(
        self,
        machine: EmulatedHardware,
        path: Path,
        now_ns: Callable[[], int] = time.monotonic_ns,
        firmware: Firmware | None = None,
        baud: int = BAUD,
        seed: int = 0,
    ) -> None:
        self.path = path
        self._now_ns = now_ns
        self._bytes_per_ns = baud / 10 / _NS_PER_S
        self._random = random.Random(seed)
        self._lock = threading.Lock()
        self._processor = CoProcessor(machine, now_ns(), firmware)
        self._plug: _Plug | None = _Plug(path)
        self._plugged_again_ns = 0
        self._upwards, self._downwards = bytearray(), bytearray()
        self._up_credit = self._down_credit = 0.0
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"emulator {path}", daemon=True)
        self._thread.start()

    @property
    def applied(self) -> tuple[Applied, ...]:
        """Every change of the motors' duty so far, oldest first."""
        return tuple(self._processor.applied)

    @property
    def damage(self) -> Counter[Damage]:
        """What was wrong with the bytes that the device received since its boot."""
        with self._lock:
            return self._processor.damage

    @property
    def boot(self) -> int:
        """Number of the present boot."""
        return self._processor.boot

    def reboot(self) -> None:
        """Restart the device; the line stays up, a sentence under way is cut short."""
        with self._lock:
            self._upwards.clear()
            self._downwards.clear()
            self._processor.reboot(self._now_ns())

    def unplug(self, seconds: float) -> None:
        """Take the line away for a time by the emulator's clock; the device stays powered and its deadline runs."""
        with self._lock:
            self._pull()
            self._plugged_again_ns = self._now_ns() + round(seconds * _NS_PER_S)

    def close(self) -> None:
        """Take the line away for good; a second call does nothing."""
        self._closing.set()
        self._thread.join()
        with self._lock:
            self._pull()

    def _pull(self) -> None:
        if self._plug is not None:
            self._plug.pull()
        self._plug = None

    def _run(self) -> None:
        last_ns = due_ns = self._now_ns()
        while not self._closing.is_set():
            now_ns = self._now_ns()
            if now_ns < due_ns:
                time.sleep(_TICK_S)
                continue
            with self._lock:
                self._tick(now_ns, now_ns - last_ns)
            last_ns = now_ns
            due_ns = max(due_ns + _TICK_NS, now_ns)

    def _tick(self, now_ns: int, elapsed_ns: int) -> None:
        self._replug(now_ns)
        # What the device has no room for stays in the host's own queue, as on a real line.
        if self._plug is not None and len(self._downwards) < _BUFFER:
            self._downwards += self._plug.read()
        earned = elapsed_ns * self._bytes_per_ns
        received, self._down_credit = transmit(self._downwards, self._down_credit + earned)
        self._processor.feed(received, now_ns)
        reports = self._processor.due(now_ns)
        if len(self._upwards) < _BUFFER:
            self._upwards += reports
        sent, self._up_credit = transmit(self._upwards, self._up_credit + earned)
        if self._plug is not None:
            self._plug.write(self._in_pieces(sent))

    def _replug(self, now_ns: int) -> None:
        if self._plug is None and now_ns >= self._plugged_again_ns:
            self._plug = _Plug(self.path)
            self._downwards.clear()

    def _in_pieces(self, sent: bytes) -> list[bytes]:
        pieces = []
        while sent:
            size = self._random.randint(1, 31)
            pieces.append(sent[:size])
            sent = sent[size:]
        return pieces


def transmit(queue: bytearray, credit: float) -> tuple[bytes, float]:
    """Return what the line carries of ``queue`` for ``credit`` bytes of time, and the credit left.

    An idle line saves nothing up, so the credit left is less than a byte.
    """
    size = min(len(queue), int(credit))
    sent = bytes(queue[:size])
    del queue[:size]
    return sent, credit - size if queue else min(credit - size, 0.999)


class _Plug:
    """One pseudo-terminal under a lasting name."""

    def __init__(self, path: Path) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self._path = path
        new = path.with_name(path.name + ".new")
        new.unlink(missing_ok=True)
        new.symlink_to(os.ttyname(self._far))
        new.replace(path)

    def read(self) -> bytes:
        """Return what has been written at the other end."""
        ready, _, _ = select.select([self._near], [], [], 0.0)
        return os.read(self._near, 4096) if ready else b""

    def write(self, pieces: list[bytes]) -> None:
        """Write pieces one by one; what nobody reads is lost, as on a wire."""
        with contextlib.suppress(BlockingIOError):
            for piece in pieces:
                os.write(self._near, piece)

    def pull(self) -> None:
        """Hang up: the other end sees the end of the line."""
        self._path.unlink(missing_ok=True)
        os.close(self._near)
        os.close(self._far)
