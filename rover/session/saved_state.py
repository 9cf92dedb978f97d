"""The errand's state in a file beside the run record, so that it can be taken up again after a change of battery."""

import contextlib
import errno
import glob
import json
import os
import stat
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from rover.errors import UserError
from rover.files.errand import Errand
from rover.session.state_model import CoreState, StateFile, why_invalid, why_not_of

VERSION = 4
ENDING = ".state.json"
WRITTEN_WITHIN_S = 5.0
LARGEST = 20_000_000
"""Bytes; a state has some thousand."""


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
    found = sorted(folder.glob(f"{glob.escape(errand.stem)}-*{ENDING}"), key=_changed_ns)
    if not found:
        raise StateError(f"{folder}: no saved state of {errand.name} to resume; start it without --resume")
    return found[-1]


def _changed_ns(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0  # gone meanwhile, or a link that leads nowhere


def read(path: Path, errand: Errand) -> Mapping[str, Any]:
    """Return the core's state from a file.

    Args:
        path: the file.
        errand: that is to be taken up.

    Raises:
        StateError: it cannot be read, is not whole and sound, is of another errand, or that errand was done.
    """
    try:
        state = StateFile.model_validate_json(_bytes_of(path))
    except ValidationError as error:
        raise StateError(
            f"{path}: not the saved state of a run ({why_invalid(error)}); name a .state.json file: --resume=FILE"
        ) from None
    if state.version != VERSION:
        raise StateError(
            f"{path}: saved by another release (layout {state.version}, this one reads {VERSION}); start afresh"
        )
    if state.errand != errand.errand:
        other = " ".join(state.errand.split())
        raise StateError(f"{path}: the state of another errand, '{other}'; this one is '{errand.errand}'")
    if state.ended == "done":
        raise StateError(f"{path}: that run was done, nothing is left to take up; start it without --resume")
    try:
        core = CoreState.model_validate_json(json.dumps(state.core))
    except ValidationError as error:
        raise StateError(f"{path}: not a state that can be taken up: {why_invalid(error)}; start afresh") from None
    if why := why_not_of(errand, core):
        raise StateError(f"{path}: the state does not fit this errand: {why}; was its file changed? Start afresh")
    return core.model_dump(mode="json")


def _bytes_of(path: Path) -> bytes:
    """Return what a file holds.

    Raises:
        StateError: it is no plain file, cannot be read, or is far too large.
    """
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise StateError(f"{path}: not a file; name the .state.json file of a run, or none for the newest")
        with path.open("rb") as file:
            text = file.read(LARGEST + 1)
    except OSError as error:
        why = "is a loop of links" if error.errno == errno.ELOOP else error.strerror
        raise StateError(f"{path}: {why}; name the .state.json file of a run, or none for the newest") from None
    if len(text) > LARGEST:
        raise StateError(f"{path}: too large for the saved state of a run; name a .state.json file: --resume=FILE")
    return text


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
