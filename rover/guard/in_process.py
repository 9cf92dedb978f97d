"""The guard's way to the serial line in a thread of this process: for a wired rehearsal, where nothing real moves."""

import os
import select
import threading
from collections import deque
from collections.abc import Callable

from rover.devices.readings import DriveCommand
from rover.guard.actuators import Actuators
from rover.guard.permission import Permission
from rover.guard.protocol import Command
from rover.guard.serial_output import SerialOutput
from rover.guard.settings import GuardSettings
from rover.link.port import LinePort
from rover.link.sentences import U32

SESSION = 1


class GuardThread(LinePort):
    """Takes commands as a `GuardClient` does, and hands over lines as a `GuardPort` does.

    Commands are judged, carried out and ended by the code that does so on the robot. Left out is what outlives the
    runtime there (process, supervisor, sockets), and so is the latch: a rehearsal has nobody to reset a stop, so motion
    is permitted throughout, and a line that was away is driven on.

    Any thread may call its methods; subscribers are called in its own.

    Args:
        settings: of a guard on a serial line.
        now_ns: the clock.
        pace: so many times faster than real time the clock runs.
    """

    def __init__(self, settings: GuardSettings, now_ns: Callable[[], int], pace: float) -> None:
        super().__init__(str(settings.drive["port"]))
        self.settings, self.now_ns = settings, now_ns
        self._pace = pace
        permission = Permission()
        permission.enable(SESSION)
        self._output = SerialOutput(settings.drive, SESSION, now_ns)
        self._actuators = Actuators(settings, self._output, permission)
        self._newest: deque[Command] = deque(maxlen=1)
        self._wake = os.eventfd(0, os.EFD_NONBLOCK)
        self._closing = threading.Event()
        self._turn()
        self._thread = threading.Thread(target=self._run, name=f"guard {self._name}", daemon=True)
        self._thread.start()

    def command(self, drive: DriveCommand, pulse_us: int | None = None) -> bool:
        """Send duties, and a servo pulse (us; 0: limp, None: as it was); False: this has been closed."""
        if self._closing.is_set():
            return False
        duties = (drive.left, drive.right)
        self._newest.append(Command(SESSION, drive.sequence & U32, self.now_ns(), drive.expires_ns, *duties, pulse_us))
        os.eventfd_write(self._wake, 1)
        return True

    def close(self) -> None:
        """Bring the wheels to zero and let go of the line; a second call does nothing."""
        if self._closing.is_set():
            return
        self._closing.set()
        os.eventfd_write(self._wake, 1)
        self._thread.join()
        self._output.close()
        os.close(self._wake)

    def _run(self) -> None:
        while not self._closing.is_set():
            self._wait()
            self._turn()

    def _wait(self) -> None:
        poll = select.poll()
        for descriptor in (self._wake, self._output.descriptor()):
            if descriptor is not None:
                poll.register(descriptor, select.POLLIN)
        patience_ns = self._actuators.patience_ns(self.now_ns()) / self._pace
        ready = dict(poll.poll(-(-patience_ns // 1_000_000)))
        if self._wake in ready:
            os.eventfd_read(self._wake)

    def _turn(self) -> None:
        now_ns = self.now_ns()
        chunk = self._output.work(now_ns)
        if self._newest:
            self._actuators.obey(self._newest.popleft(), now_ns)
        self._actuators.keep(now_ns)
        if chunk:
            self.feed(chunk, now_ns)
