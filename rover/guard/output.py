"""The actuators as the guard sees them: `serial_output`, a co-processor, or `pin_output`, motors and servo on pins.

An output never waits and never raises; what is wrong with it stands in ``fault``, it stays at zero as far as that
depends on it, and it is opened again by itself.
"""

from typing import Protocol

Duties = tuple[float, float]
ZERO: Duties = (0.0, 0.0)


class Output(Protocol):
    """What carries out commands."""

    @property
    def fault(self) -> str:
        """What is wrong, in words for a person; empty when nothing is."""

    @property
    def is_stuck(self) -> bool:
        """Wheels may be turning and could not be brought to zero from here."""

    def alarm(self) -> str:
        """Return what happened since the last call that has to stop the wheels though it is over, or ''."""

    def drive(self, left: float, right: float, until_ns: int) -> Duties:
        """Give the wheels a duty that lasts until a time at most; return what they have been given."""

    def zero(self) -> None:
        """Bring the wheels to zero before anything else, throwing away what has not gone out yet."""

    def servo(self, pulse_us: int, until_ns: int) -> None:
        """Give the servo a pulse width (us; 0: limp)."""

    def work(self, now_ns: int) -> bytes:
        """Do what is due without waiting, and return the bytes that came in."""

    def descriptor(self) -> int | None:
        """Return what to poll for incoming bytes."""

    def is_pending(self) -> bool:
        """Tell whether something waits to be written."""

    def close(self) -> None:
        """Bring everything to zero and let go."""
