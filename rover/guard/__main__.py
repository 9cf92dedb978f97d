"""``python -m rover.guard supervise|guard ...``: `launch` starts the supervisor, and that one the guard."""

import contextlib
import os
import sys

from rover.guard import guard, supervisor

MAINS = {"supervise": supervisor.main, "guard": guard.main}


def take_priority() -> None:
    """Go before ordinary processes where the system lets us (``LimitRTPRIO`` of the service, or root).

    To be called once everything is loaded, which is not urgent; processes started later do not inherit it.
    """
    try:
        os.sched_setscheduler(0, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(1))
    except OSError:
        with contextlib.suppress(OSError):
            os.nice(-10)


if __name__ == "__main__":
    take_priority()
    MAINS[sys.argv[1]](sys.argv[2:])
