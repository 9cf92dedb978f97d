"""A word to the service manager that started us: ready, alive, stopping, and what we are at.

Datagrams as in the manual pages sd_notify(3) and sd_watchdog_enabled(3) of systemd. Call `notify` from the loop
itself: a thread that keeps saying "alive" would outlive a loop that has hung.
"""

import os
import socket
from collections.abc import Mapping

READY, STOPPING, ALIVE = "READY=1", "STOPPING=1", "WATCHDOG=1"
BEAT_EVERY_NS = 1_000_000_000


def status(text: str) -> str:
    """Return the state that shows ``text`` in the service's status, as one line."""
    return "STATUS=" + " ".join(text.split())


def notify(*states: str, environment: Mapping[str, str] = os.environ) -> bool:
    """Send states such as `READY`; never waits and never raises for want of a listener.

    Returns:
        Whether they were sent; not so when no service manager listens, or does not take them now.
    """
    address = _address(environment.get("NOTIFY_SOCKET", ""))
    if address is None:
        return False
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as channel:
            channel.sendto("\n".join(states).encode(), address)
    except OSError:
        return False
    return True


def is_managed(environment: Mapping[str, str] = os.environ) -> bool:
    """Tell whether a service manager started this program, so that it may wait where nobody is at a terminal."""
    return _address(environment.get("NOTIFY_SOCKET", "")) is not None


def _address(name: str) -> str | None:
    """Return the socket's address: a path, or with ``@`` a name in the abstract space."""
    if name.startswith("@"):
        return "\0" + name[1:]
    return name if name.startswith("/") else None


def watchdog_limit_ns(environment: Mapping[str, str] = os.environ) -> int | None:
    """Return the time (ns) within which `ALIVE` is due again, None if nobody waits; half of it is a good pace."""
    microseconds = environment.get("WATCHDOG_USEC", "")
    meant_for = environment.get("WATCHDOG_PID", "")
    if not microseconds.isdecimal() or int(microseconds) == 0 or meant_for not in ("", str(os.getpid())):
        return None
    return int(microseconds) * 1000


class Heartbeat:
    """Tells the service manager, from the loop itself, that it lives and what it is at."""

    def __init__(self) -> None:
        limit_ns = watchdog_limit_ns()
        self._every_ns = BEAT_EVERY_NS if limit_ns is None else min(BEAT_EVERY_NS, limit_ns // 2)
        self._due_ns = 0
        self._is_ready = False

    def beat(self, now_ns: int, doing: str) -> None:
        """Send a word if one is due; the first one says too that the start is over."""
        if now_ns < self._due_ns:
            return
        self._due_ns = now_ns + self._every_ns
        first = () if self._is_ready else (READY,)
        self._is_ready = True
        notify(*first, ALIVE, status(doing))
