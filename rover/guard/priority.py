"""Going before ordinary processes, so that a busy machine does not delay a stop."""

import contextlib
import os


def take_priority() -> None:
    """Take the lowest real-time priority where the system lets us (``LimitRTPRIO`` of the service, or root).

    To be called once everything is loaded, which is not urgent; processes started later do not inherit it.
    """
    try:
        os.sched_setscheduler(0, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(1))
    except OSError:
        with contextlib.suppress(OSError):
            os.nice(-10)
