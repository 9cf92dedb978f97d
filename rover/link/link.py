"""A serial link as the drivers see it: every sentence decoded once, its time mapped."""

import threading
import time
from collections import Counter, deque
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rover.devices.readings import Reading
from rover.link.clock import DeviceClock
from rover.link.codec import decode
from rover.link.framing import Damage, SentenceError
from rover.link.port import Clock, LinePort, PortCounts, SerialPort
from rover.link.sentences import U16, Identity, Report, Sentence

if TYPE_CHECKING:
    # The motor guard imports this package too, and has no use for what reads the robot file.
    from rover.files.robot import SerialLink

MAILBOX_HOLDS = 1000
_BITS_A_BYTE = 10
_LINE_END = 2


class Mailbox:
    """The readings of some kinds of sentence, for one driver; when nobody takes them, the oldest are lost first."""

    def __init__(self) -> None:
        self._readings: deque[Reading] = deque(maxlen=MAILBOX_HOLDS)

    def put(self, reading: Reading) -> None:
        """Add a reading; called in the port's thread."""
        self._readings.append(reading)

    def take(self) -> list[Reading]:
        """Return what came in since the last call, oldest first; called in the driver's thread."""
        taken = []
        while self._readings:
            taken.append(self._readings.popleft())
        return taken


class Link:
    """One serial link of the robot file, shared by its drivers: what `DriverContext.links` holds.

    The value of each reading is the decoded sentence; the boot number in it is the one in force by the device
    clock, so that a board that forgets its boot number still shows a restart. Sequence numbers count on through
    wraps and reboots, and leave gaps where sentences were lost. Any thread may call any method.

    Args:
        port: where lines come from.
        baud: bits a second, to take off the time that a sentence needs on the wire.
    """

    def __init__(self, port: LinePort, baud: int) -> None:
        self.identity: Identity | None = None
        self._port = port
        self._baud = baud
        self._clock = DeviceClock()
        self._mailboxes: dict[type[Any], tuple[Mailbox, ...]] = {}
        self._last: dict[type[Any], Report] = {}
        self._begun_ns = 0
        self._sequences: Counter[type[Any]] = Counter()
        self._damage: Counter[Damage] = Counter()
        self._lock = threading.Lock()
        port.subscribe(self._on_line)

    def mailbox(self, *kinds: type[Any]) -> Mailbox:
        """Return a new mailbox that gets every reading of these kinds from now on, such as `CountsReport`."""
        box = Mailbox()
        with self._lock:
            for kind in kinds:
                self._mailboxes[kind] = (*self._mailboxes.get(kind, ()), box)
        return box

    @property
    def counts(self) -> PortCounts:
        """What the port has done so far."""
        return self._port.counts

    @property
    def damage(self) -> Mapping[Damage, int]:
        """How often each kind of damage was met since the start, by the framer and by the decoder."""
        with self._lock:
            return self._damage + Counter(self._port.damage)

    def close(self) -> None:
        """Close the port; a second call does nothing."""
        self._port.close()

    def _on_line(self, line: bytes, received_ns: int) -> None:
        try:
            value = decode(line)
        except SentenceError as error:
            with self._lock:
                self._damage[error.damage] += 1
            return
        begun_ns = received_ns - (len(line) + _LINE_END) * _BITS_A_BYTE * 1_000_000_000 // self._baud
        reading = self._stamp(value, begun_ns)
        if isinstance(reading.value, Identity):
            self.identity = reading.value
        for box in self._mailboxes.get(type(reading.value), ()):
            box.put(reading)

    def _stamp(self, value: Sentence, begun_ns: int) -> Reading:
        kind = type(value)
        if not isinstance(value, Report):
            self._sequences[kind] += 1
            # Of two that were read at once the longer one seems to have begun first; they came in order all the same.
            self._begun_ns = max(self._begun_ns, begun_ns)
            return Reading(self._begun_ns, self._sequences[kind], value)
        taken_ns = self._clock.host_ns(value.device_ms, value.boot, begun_ns)
        value = value._replace(boot=self._clock.boot)
        self._sequences[kind] += _step(self._last.get(kind), value)
        self._last[kind] = value
        return Reading(taken_ns, self._sequences[kind], value)


def _step(last: Report | None, value: Report) -> int:
    """Return how far the device's 16-bit sequence went on; the first after a reboot counts as the next."""
    if last is None or last.boot != value.boot:
        return 1
    return (value.sequence - last.sequence) & U16 or 1


def open_link(settings: "SerialLink", now_ns: Clock = time.monotonic_ns) -> Link:
    """Return the link of a robot file's entry, its port open.

    Raises:
        PortError: the port cannot be opened.
    """
    return Link(SerialPort(settings.port, settings.baud, now_ns), settings.baud)
