"""Lines that are files in a folder, for a computer without pins."""

import os
from collections.abc import Iterable, Mapping
from pathlib import Path


class FolderLines:
    """Lines that are files ``lineN`` in a folder, holding ``1`` or ``0``: for trials on a computer without pins.

    An output writes its file, an input reads it whenever it is asked; there are no edges, and a file that is missing
    is an input that floats high, as one with a pull-up and nothing connected does.
    """

    def __init__(self, folder: Path, lines: Iterable[int], *, is_output: bool) -> None:
        self._paths = {line: folder / f"line{line}" for line in lines}
        if is_output:
            self.set_values(dict.fromkeys(self._paths, False))

    def set_values(self, levels: Mapping[int, bool]) -> None:
        """Write the levels of some lines."""
        for line, level in levels.items():
            descriptor = os.open(self._paths[line], os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o644)
            try:
                os.pwrite(descriptor, b"1\n" if level else b"0\n", 0)
            finally:
                os.close(descriptor)

    def get_values(self, lines: Iterable[int]) -> list[bool]:
        """Return the levels of some lines."""
        return [self._level(self._paths[line]) for line in lines]

    def wait_edge_events(self, timeout: float) -> bool:
        """Tell that there are none."""
        return False

    def release(self) -> None:
        """Do nothing: no file stays open."""

    @staticmethod
    def _level(path: Path) -> bool:
        try:
            return path.read_text("ascii").strip() != "0"
        except FileNotFoundError:
            return True
