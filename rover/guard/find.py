"""Finding the guards that are at work on this machine, whoever started them and wherever their folders are."""

import os
import pwd
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from rover.guard.client import default_folder
from rover.guard.launch import is_at_work
from rover.guard.settings import GuardSettings, load_settings


class FoundGuard(NamedTuple):
    """The folder of a guard, and the user (number) whom it belongs to."""

    folder: Path
    owner: int

    @property
    def is_ours(self) -> bool:
        """This user may speak to it."""
        return os.getuid() in (0, self.owner)

    @property
    def how_to_reach(self) -> str:
        """Return what to type before a command for it, where it is another user's."""
        try:
            return f"sudo -u {pwd.getpwuid(self.owner).pw_name}"
        except KeyError:
            return f"sudo -u '#{self.owner}'"

    @property
    def settings(self) -> GuardSettings | None:
        """What the guard holds; None: that cannot be read."""
        try:
            return load_settings(self.folder)
        except (OSError, ValueError, TypeError, KeyError):
            return None


def guards() -> list[FoundGuard]:
    """Return every guard that is at work, by folder: this user's own one, and those that running processes name.

    So one in a folder of its own (``--guard``) is found, and one that runs as a service.
    """
    found = dict(_by_processes())
    own = default_folder()
    if is_at_work(own):
        found.setdefault(own, os.getuid())
    return [FoundGuard(folder, owner) for folder, owner in sorted(found.items())]


def guard_at(folder: Path) -> FoundGuard | None:
    """Return the guard that is at work in a folder, None if there is none."""
    try:
        owner = folder.stat().st_uid
        return FoundGuard(folder, owner) if os.getuid() not in (0, owner) or is_at_work(folder) else None
    except OSError:
        return None


def holds_the_same(one: GuardSettings, other: GuardSettings) -> bool:
    """Tell whether two guards would command the same motors: by the serial line, or by the pins."""
    if one.is_serial and other.is_serial:
        ports = {os.path.realpath(str(settings.drive["port"])) for settings in (one, other)}
        return len(ports) == 1
    return bool(set(map(tuple, one.channels)) & set(map(tuple, other.channels)))


def _by_processes() -> Iterator[tuple[Path, int]]:
    """Return the folders that command lines ``-m rover.guard guard|supervise FOLDER ...`` name, and whose they are."""
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words, owner = line.read_bytes().split(b"\0"), line.stat().st_uid
        except OSError:
            continue  # it has ended meanwhile
        if b"rover.guard" in words[:-2]:
            place = words.index(b"rover.guard")
            folder = Path(os.fsdecode(words[place + 2]))
            if words[place + 1] in (b"guard", b"supervise") and not _is_elsewhere(folder):
                yield folder, owner


def _is_elsewhere(folder: Path) -> bool:
    """Tell whether a folder is not to be seen from here, as that of a guard in a container."""
    try:
        folder.stat()
    except FileNotFoundError:
        return True
    except OSError:
        return False  # another user's
    return False
