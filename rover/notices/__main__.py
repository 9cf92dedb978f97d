"""``python -m rover.notices OUTBOX ERRAND``: the process that sends; a run starts it, holding a pipe to its input."""

import os
import sys
from pathlib import Path


def main() -> None:
    """Send until nothing waits and the run is over. The robot goes before: this process is nice, its imports too."""
    os.nice(10)
    from rover.notices.outbox import Outbox
    from rover.notices.sender import Sender, serve

    outbox, errand = map(Path, sys.argv[1:])
    serve(Sender(Outbox(outbox), errand), sys.stdin.fileno())


if __name__ == "__main__":
    main()
