"""Rehearsals of whole errands in a small bay, from files written for the one scenario."""

import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml

from rover.events import StateChange
from rover.files import yaml_source
from rover.record.reader import read
from rover.record.run import RecordedRun
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal, Result

ROOT = Path(__file__).parents[2]
BAY: dict[str, Any] = {
    "boundary": [["0 m", "0 m"], ["3.2 m", "0 m"], ["3.2 m", "2.4 m"], ["0 m", "2.4 m"]],
    "start": {"x": "1.5 m", "y": "1.2 m", "heading": "0 deg"},
    "zone": {"x": "60 cm", "y": "1.2 m", "width": "80 cm", "depth": "80 cm", "entry": "180 deg"},
}
KINDS = {kind: {"lid": kind, "height": "60 mm", "width": "50 mm"} for kind in ("amber", "teal", "violet")}
JAR = {"kind": "amber", "x": "2.5 m", "y": "1.3 m"}
FAR_JAR = {"kind": "teal", "x": "2.2 m", "y": "50 cm"}


@dataclass(frozen=True)
class Rehearsed:
    """How a rehearsal ended, and its record."""

    result: Result
    run: RecordedRun

    @property
    def states(self) -> list[str]:
        """All states that were entered, in order."""
        return [change.entered for change in self.run.events_of(StateChange)]

    @property
    def ended(self) -> tuple[str, str, int]:
        """How, by which state, and with how many truly in the tray."""
        return self.result.result, self.result.reason, self.result.truth.delivered


def nothing(robot_time_s: float, state: str, delivered: int) -> None:
    """Progress that is not looked at."""


def rehearse(
    errand: Path, seed: int = 1, *, wired: bool = False, watch: Callable[[Rehearsal], Any] = lambda rehearsal: nothing
) -> Rehearsed:
    """Rehearse an errand file; ``watch`` makes the progress callback from the rehearsal."""
    assembly, activities = with_user_activities(errand, {})
    record = errand.parent / f"{errand.stem}-{seed}.sqlite"
    record.unlink(missing_ok=True)
    rehearsal = Rehearsal(assembly, activities, seed, record, wired=wired)
    result = rehearsal.run(watch(rehearsal))
    return Rehearsed(result, read(record))


class Files:
    """A project folder for one scenario: the built-in behaviours, and config files made from parts."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        shutil.copytree(ROOT / "behaviours", folder / "behaviours")
        (folder / "config").mkdir()
        cart = ROOT / "config/cart.yaml"
        self.robot: dict[str, Any] = yaml_source.read(cart, cart.name).values

    def write(self, name: str, values: Mapping[str, Any]) -> Path:
        path = self.folder / "config" / name
        path.write_text(yaml.safe_dump(dict(values), sort_keys=False), encoding="utf-8")
        return path

    def errand(
        self,
        bench: Mapping[str, Any] | None,
        *,
        robot: Mapping[str, Any] | None = None,
        behaviour: str = "../behaviours/collect.yaml",
        **keys: Any,
    ) -> Path:
        """Write an errand with its robot and bench file; ``keys`` are the errand file's own, None leaves one out."""
        self.write("robot.yaml", robot or self.robot)
        files = {"robot": "robot.yaml", "behaviour": behaviour}
        if bench is not None:
            self.write("bench.yaml", {"bench": "Small bay", **bench})
            files["bench"] = "bench.yaml"
        values = {"errand": "Scenario", "files": files, "field": BAY, "kinds": KINDS, "expect": 1} | keys
        return self.write("errand.yaml", {key: value for key, value in values.items() if value is not None})

    def with_devices(self, **devices: Mapping[str, Any]) -> dict[str, Any]:
        """Return the cart with other or further devices."""
        return self.robot | {"devices": self.robot["devices"] | devices}


@pytest.fixture
def small_bay() -> SimpleNamespace:
    """What the scenarios share, by name."""
    return SimpleNamespace(JAR=JAR, FAR_JAR=FAR_JAR, BAY=BAY, ROOT=ROOT, rehearse=rehearse)


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path)


@pytest.fixture
def collect(files: Files) -> Callable[..., Rehearsed]:
    """Rehearse the fetching errand in the small bay: ``collect([JAR], faults=[...])``."""

    def run(
        objects: Sequence[Mapping[str, Any]],
        seed: int = 1,
        *,
        keys: Mapping[str, Any] | None = None,
        robot: Mapping[str, Any] | None = None,
        **bench: Any,
    ) -> Rehearsed:
        return rehearse(files.errand({"objects": list(objects), **bench}, robot=robot, **(keys or {})), seed)

    return run
