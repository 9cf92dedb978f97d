"""The serial link: sentences, device time, the port with reconnection, and an emulator of the co-processor."""

from rover.link.link import Link, Mailbox, open_link
from rover.link.port import PortError

__all__ = ["Link", "Mailbox", "PortError", "open_link"]
