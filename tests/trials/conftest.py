"""Short errands to try: a robot that stands for a second, with activities of a person's own where they are wanted."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).parents[2]
FIELD = {
    "boundary": [["0 m", "0 m"], ["4 m", "0 m"], ["4 m", "3 m"], ["0 m", "3 m"]],
    "start": {"x": "1 m", "y": "1 m", "heading": "0 deg"},
}


class ShortErrand:
    """An errand of some steps in a folder of its own.

    Attributes:
        path: of the errand file.
    """

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._monkeypatch = monkeypatch
        self.folder, self.path = folder, folder / "short.yaml"
        (folder / "cart.yaml").write_text((ROOT / "config/cart.yaml").read_text())
        self.does("stand_still")
        self.write("bench", {"bench": "Nothing on it"})
        files = {"robot": "cart.yaml", "behaviour": "behaviour.yaml", "bench": "bench.yaml"}
        self.write("short", {"errand": "Stand for a second", "files": files, "field": FIELD})

    def write(self, name: str, values: Mapping[str, Any]) -> Path:
        path = self.folder / f"{name}.yaml"
        path.write_text(yaml.safe_dump(dict(values), sort_keys=False))
        return path

    def does(self, activity: str, result: str = "done") -> None:
        """Let the behaviour's one state do something for a second; one's own activity may fail before."""
        exits: list[dict[str, str]] = [{"after": "settings.stands", "go": "over"}]
        states: dict[str, Any] = {"stand": {"does": activity, "exits": exits}, "over": {"final": result}}
        if ":" in activity:
            exits.insert(0, {"when": "failed", "go": "missed"})
            states["missed"] = {"final": "failed"}
        values = {"behaviour": "Stand", "settings": {"stands": "1 s"}, "start": "stand", "states": states}
        self.write("behaviour", values)

    def own(self, source: str) -> Path:
        """Let an activity of one's own be done, `Own` of this source; return the folder it is to be had from.

        In this process it is to be had from there until the test is over.
        """
        folder = self.folder / "own"
        folder.mkdir()
        (folder / "mine.py").write_text(f"import os\nfrom rover import Activity, ActivitySpec, Request\n\n{source}")
        self._monkeypatch.setattr("sys.path", [str(folder), *sys.path])
        self._monkeypatch.delitem(sys.modules, "mine", raising=False)
        self.does("mine:Own")
        return folder


@pytest.fixture
def short(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ShortErrand:
    return ShortErrand(tmp_path, monkeypatch)
