"""The errand's state in a file beside the run record, so that it can be taken up again after a change of battery."""

import contextlib
import json
import os
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rover.errors import UserError

VERSION = 2
ENDING = ".state.json"
WRITTEN_WITHIN_S = 5.0


class StateError(UserError):
    """A saved state that cannot be used; the message says which file, why, and what to do."""


def path_beside(record: Path) -> Path:
    """Return where the state of a run is saved, given its record."""
    return record.with_suffix(ENDING)


def newest(folder: Path, errand: Path) -> Path:
    """Return the newest state that a run of an errand file left in a folder.

    Raises:
        StateError: there is none.
    """
    found = sorted(folder.glob(f"{errand.stem}-*{ENDING}"), key=lambda path: path.stat().st_mtime_ns)
    if not found:
        raise StateError(f"{folder}: no saved state of {errand.name} to resume; start it without --resume")
    return found[-1]


def read(path: Path, title: str) -> Mapping[str, Any]:
    """Return the core's state from a file.

    Args:
        path: the file.
        title: of the errand that is to be taken up.

    Raises:
        StateError: it cannot be read, is of another errand, or that errand was done.
    """
    try:
        state = json.loads(path.read_text("utf-8"))
        version, errand, ended, core = state["version"], state["errand"], state["ended"], state["core"]
    except OSError as error:
        raise StateError(
            f"{path}: {error.strerror}; name the .state.json file of a run, or none for the newest"
        ) from None
    except (ValueError, KeyError, TypeError):
        raise StateError(f"{path}: not the saved state of a run; name a .state.json file: --resume=FILE") from None
    if version != VERSION:
        raise StateError(f"{path}: saved by another release (layout {version}, this one reads {VERSION}); start afresh")
    if errand != title:
        raise StateError(f"{path}: the state of another errand, '{errand}'; this one is '{title}'")
    if ended == "done":
        raise StateError(f"{path}: that run was done, nothing is left to take up; start it without --resume")
    return dict(core)


def write_atomically(path: Path, text: str) -> None:
    """Put a text in the place of a file, so that after a loss of power either the old or the new one is there whole.

    Raises:
        OSError: the disk does not take it.
    """
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


class StateKeeper:
    """Writes the newest state in a thread of its own: a slow disk must not hold up the loop.

    Attributes:
        trouble: why the last state could not be written; empty when it was.
    """

    def __init__(self, path: Path, errand: str) -> None:
        self.trouble = ""
        self._path, self._errand = path, errand
        self._text: str | None = None
        self._closing = False
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._write_until_closed, name="saved state", daemon=True)
        self._thread.start()

    def keep(self, core: Mapping[str, Any], ended: str = "") -> None:
        """Have a state written; one that still waits is displaced. ``ended`` is the run's result at its end."""
        whole = {"version": VERSION, "errand": self._errand, "ended": ended, "core": core}
        self._text = json.dumps(whole)
        self._wake.set()

    def close(self) -> None:
        """Wait until the newest state is written, though not for ever; a second call does nothing."""
        self._closing = True
        self._wake.set()
        self._thread.join(WRITTEN_WITHIN_S)
        if self._thread.is_alive():
            self.trouble = f"{self._path}: still not written after {WRITTEN_WITHIN_S:.0f} s; is the disk hanging?"

    def _write_until_closed(self) -> None:
        closing = False
        while not closing:
            self._wake.wait()
            self._wake.clear()
            closing = self._closing  # before taking, so that the last round takes the newest
            text, self._text = self._text, None
            if text is not None:
                self._write(text)

    def _write(self, text: str) -> None:
        self.trouble = ""
        try:
            write_atomically(self._path, text)
        except OSError as error:
            self.trouble = (
                f"{self._path}: the errand's state could not be saved: {error.strerror}; make room on its disk"
            )
            with contextlib.suppress(OSError):
                self._path.with_name(self._path.name + ".new").unlink()
