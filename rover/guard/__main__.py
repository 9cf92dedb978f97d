"""``python -m rover.guard supervise|guard ...``: started by `rover.guard.client`, not by hand."""

import sys

from rover.guard import guard as process
from rover.guard import supervisor

MAINS = {"supervise": supervisor.main, "guard": process.main}

if __name__ == "__main__":
    MAINS[sys.argv[1]](sys.argv[2:])
