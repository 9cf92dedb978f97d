"""What the runtime commands the guard with."""

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from rover.devices.readings import DriveCommand
from rover.guard.channel import GuardChannel
from rover.guard.protocol import Answer, Ask, Command, State

_U32 = 0xFFFF_FFFF


class GuardClient:
    """The runtime's hold on the guard. One thread; nothing waits.

    Each request is carried out or refused by the guard; `poll` tells, by the next `State`.

    Attributes:
        state: the guard's last word on itself; None before the first.
        answer: what became of the last command that was answered.

    Raises:
        GuardError: there is no such folder.
    """

    def __init__(self, folder: Path, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self.now_ns = now_ns
        self.state: State | None = None
        self.answer: Answer | None = None
        self._channel = GuardChannel(folder)
        self._channel.ask(Ask.HELLO)

    @property
    def session(self) -> int:
        """The number of this client's session."""
        return self._channel.session

    def command(self, drive: DriveCommand, pulse_us: int | None = None) -> bool:
        """Send duties, and a servo pulse (us; 0: limp, None: as it was); False: the guard cannot be reached.

        Raises:
            ValueError: a number does not fit in a datagram.
        """
        stamp_ns = self.now_ns()
        return self._channel.send(
            Command(self.session, drive.sequence & _U32, stamp_ns, drive.expires_ns, drive.left, drive.right, pulse_us)
        )

    def poll(self) -> Sequence[Answer | State]:
        """Return the answers and states that came in, oldest first."""
        news = [value for value in self._channel.receive() if isinstance(value, Answer | State)]
        for value in news:
            if isinstance(value, State):
                self.state = value
            elif value.session == self.session:
                self.answer = value
        return news

    def hello(self) -> bool:
        """Say that this client is there; due once a second while it does not command."""
        return self._channel.ask(Ask.HELLO)

    def stop(self, cause: str) -> bool:
        """Stop; it latches."""
        return self._channel.ask(Ask.STOP, cause)

    def press_reset(self) -> bool:
        """Tell that the reset control has been pressed."""
        return self._channel.ask(Ask.PRESS_RESET)

    def release_reset(self) -> bool:
        """Tell that the reset control has been released, which resets, and never starts motion."""
        return self._channel.ask(Ask.RELEASE_RESET)

    def reset(self) -> bool:
        """Reset by a control that is pressed and released at once, such as a typed word."""
        return self.press_reset() and self.release_reset()

    def resume(self) -> bool:
        """Permit motion again after a reset."""
        return self._channel.ask(Ask.RESUME)

    def enable(self) -> bool:
        """Ask that this client's commands count; only at a person's deliberate word."""
        return self._channel.ask(Ask.ENABLE)

    def close(self) -> None:
        """Say goodbye, whereupon the guard brings the wheels to zero."""
        self._channel.close()
