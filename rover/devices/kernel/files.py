"""Small files through which the kernel shows hardware: opened once, written in place, errors that say what to do."""

import errno
import grp
import os
from pathlib import Path

from rover.errors import A_LOOP, UserError


class DeviceError(UserError, OSError):
    """Hardware could not be had or does not answer; the message is one line that says why and what to do."""


def open_to_write(path: Path) -> int:
    """Return a descriptor of a kernel file, for `write_number` and `read_text`."""
    return os.open(path, os.O_RDWR | os.O_CLOEXEC)


def write_number(descriptor: int, value: int) -> None:
    """Write a whole number, ended by a newline: so a plain file that stands in for a kernel file reads right too."""
    os.pwrite(descriptor, b"%d\n" % value, 0)


def read_text(descriptor: int) -> str:
    """Return the first line of a kernel file; empty for an empty one."""
    lines = os.pread(descriptor, 64, 0).decode("ascii", "replace").splitlines()
    return lines[0].strip() if lines else ""


def read_number(path: Path) -> float:
    """Return the number in a kernel file.

    Raises:
        DeviceError: the file cannot be read, or holds no number.
    """
    try:
        return float(path.read_text("ascii").strip())
    except OSError as error:
        raise DeviceError(explain(error, path)) from error
    except ValueError as error:
        raise DeviceError(f"{path} holds no number; is it the right file?") from error


def explain(error: OSError, path: Path) -> str:
    """Return one line on why a kernel file or device cannot be used, and what to do."""
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"{path}: permission denied; {group_advice(path)}"
    if error.errno == errno.ENOENT:
        return f"{path} is not there; is the device connected, and its overlay or module loaded?"
    if error.errno == errno.ELOOP:
        return f"{path} {A_LOOP}; correct it, or name another in the robot file"
    if error.errno in (errno.ENODEV, errno.ENXIO, errno.EIO):
        return f"{path}: the device does not answer ({os.strerror(error.errno)}); was it unplugged?"
    if error.errno == errno.EBUSY:
        return f"{path} is in use by another program or by the kernel; end that program, or choose another in the file"
    return f"{path}: {error.strerror or error}"


def group_advice(path: Path) -> str:
    """Return what makes a file accessible: membership of the group it belongs to, or the rule that gives it one."""
    try:
        group = grp.getgrgid(path.stat().st_gid).gr_name
    except (OSError, KeyError):
        return "add the user to the group of the device, then log in again"
    if group == "root":
        return "it belongs to root alone; install the device rules of tools/deploy, which give it a group"
    return f"add the user to the group '{group}' (sudo usermod -aG {group} NAME), then log in again"
