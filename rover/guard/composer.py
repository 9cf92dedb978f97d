"""The sentences that go to the co-processor, for whoever writes them: the guard, and its supervisor in its place."""

from rover.guard.device_time import DeviceTime
from rover.link.codec import encode
from rover.link.sentences import U16, U32, MotorCommand, ServoCommand

ZERO_LASTS_NS = 250_000_000
LEAD_MS = 100
"""How far the supervisor counts ahead of the guard. What a guard that was halted or is being killed still has to say
is refused as old; a guard started again begins later than this."""
_MS = 1_000_000


class CommandComposer:
    """Writes the commands of a session. Sequences follow the clock, so that a guard started again is obeyed at once.

    Args:
        session: the sender's number in the sentences.
        device_time: the device's own, as far as it is known.
        lead_ms: how far the sequence is ahead of the clock.

    Attributes:
        sequence: that of the last sentence, 32 bits.
    """

    def __init__(self, session: int, device_time: DeviceTime, lead_ms: int = 0) -> None:
        self.sequence = 0
        self._session, self._device_time, self._lead_ms = session, device_time, lead_ms
        self._counted = 0

    def motors(self, channels: tuple[int, int], now_ns: int, until_ns: int) -> bytes | None:
        """Return the command for duties (per mille of the two channels) that end at a time; None: it has passed.

        Zero bears no time of the device's: it is obeyed however late it comes.
        """
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        by_device_ms = self._device_time.at(until_ns) if any(channels) else None
        return encode(MotorCommand(self._session, self._next(now_ns), *channels, min(lasts_ms, U16), by_device_ms))

    def zero(self, now_ns: int) -> bytes | None:
        """Return the command that brings the wheels to zero."""
        return self.motors((0, 0), now_ns, now_ns + ZERO_LASTS_NS)

    def servo(self, pulse_us: int, now_ns: int, until_ns: int) -> bytes | None:
        """Return the command for a pulse width (us; 0: limp) that may begin until a time; None: it has passed."""
        lasts_ms = (until_ns - now_ns) // _MS
        if lasts_ms <= 0:
            return None
        by_device_ms = self._device_time.at(until_ns) if pulse_us else None
        return encode(ServoCommand(self._session, self._next(now_ns), pulse_us, min(lasts_ms, U16), by_device_ms))

    def _next(self, now_ns: int) -> int:
        self._counted = max(self._counted + 1, now_ns // _MS + self._lead_ms)
        self.sequence = self._counted & U32
        return self.sequence
