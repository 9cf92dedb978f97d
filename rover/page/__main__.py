"""The page's process, as the runtime starts it: ``-m rover.page LISTENING CHANNEL TOKEN_FILE MAY_READ [GUARD_FOLDER]``.

The first two are descriptors. It ends when the runtime does, and never by a key that is pressed for that one.
"""

import asyncio
import signal
import socket
import sys
from pathlib import Path

from rover.page.access import read_token
from rover.page.channel import Channel
from rover.page.server import PageServer, Stop


def main(arguments: list[str]) -> None:
    """Serve until the runtime is gone."""
    listening, channel, token_file, may_read, *guard = arguments
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    server = PageServer(
        Channel(socket.socket(fileno=int(channel))),
        read_token(Path(token_file)),
        _stop_at(Path(guard[0])) if guard else None,
        may_read=may_read == "yes",
    )
    asyncio.run(server.serve(socket.socket(fileno=int(listening))))


def _stop_at(folder: Path) -> Stop:
    """Return what stops the robot at its guard."""
    from rover.session.from_outside import stop_at

    return lambda cause: stop_at(folder, cause)


if __name__ == "__main__":
    main(sys.argv[1:])
