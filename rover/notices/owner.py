"""Which process a run is, so that another one can tell later whether it is still there."""

import os
from pathlib import Path

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def this_process() -> str:
    """Return this process as a text: numbers are used again, but not with the same start since the same boot."""
    return f"{_boot()} {os.getpid()} {_started(os.getpid())}"


def is_alive(owner: str) -> bool:
    """Tell whether the process that `this_process` named still runs."""
    boot, process, started = owner.split()
    return boot == _boot() and started != "gone" and _started(int(process)) == started


def _boot() -> str:
    return _BOOT_ID.read_text("ascii").strip()


def _started(process: int) -> str:
    """Return when a process began (field 22 of proc_pid_stat(5)), `gone` if there is none or it has ended."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text("utf-8", "replace").rpartition(")")[2].split()
    except OSError:
        return "gone"
    return "gone" if fields[0] in ("Z", "X") else fields[19]
