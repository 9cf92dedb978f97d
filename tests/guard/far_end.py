"""The device's end of a line, in a test's hands."""

import contextlib
import os
import select
import termios
import tty

from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.link.codec import decode, encode
from rover.link.framing import Framer, SentenceError
from rover.link.sentences import Acceptance, Acknowledgement

SESSION = 77


def on_line(port, **keys):
    """Return a guard's settings of a drive on a serial line."""
    return CoProcessorDriveKeys(link="main", **keys).options | {"port": str(port), "baud": 115200}


class FarEnd:
    """The device's end of a line."""

    def __init__(self, path):
        self._device, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._device, False)
        path.symlink_to(os.ttyname(self._far))
        self._framer = Framer()
        self.damage = self._framer.damage

    def commands(self, number: int = 1) -> list:
        """Wait for a number of commands and return them, with what came along; what was cut short is left out."""
        found = []
        while len(found) < number:
            assert select.select([self._device], [], [], 5.0)[0], f"{found}, and no more"
            for line in self._framer.feed(os.read(self._device, 65536)):
                with contextlib.suppress(SentenceError):
                    found.append(decode(line))
        return found

    def answer(self, sequence: int, verdict: Acceptance = Acceptance.ACCEPTED) -> None:
        os.write(self._device, encode(Acknowledgement(0, 0, 1, "M", sequence, verdict, 0, 0)))

    def say(self, words: bytes) -> None:
        os.write(self._device, words)

    def block(self) -> None:
        termios.tcflow(self._far, termios.TCOOFF)

    def unblock(self) -> None:
        termios.tcflow(self._far, termios.TCOON)

    def hang_up(self) -> None:
        os.close(self._device)
        os.close(self._far)


class Clock:
    def __init__(self) -> None:
        self.ns = 5_000_000_000

    def __call__(self) -> int:
        return self.ns
