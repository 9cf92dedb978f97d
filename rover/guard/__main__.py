"""``python -m rover.guard supervise|guard ...``: `launch` starts the supervisor, and that one the guard."""

import sys

from rover.guard import guard, supervisor

MAINS = {"supervise": supervisor.main, "guard": guard.main}

if __name__ == "__main__":
    MAINS[sys.argv[1]](sys.argv[2:])
