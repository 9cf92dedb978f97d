"""One activity at a time on a bench without any effect, its true progress read from the record."""

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml

from rover.activities.registry import ACTIVITIES
from rover.events import Note
from rover.files import yaml_source
from rover.record.reader import read
from rover.record.run import RecordedRun
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

CART = Path(__file__).parents[2] / "config/cart.yaml"
# Every effect at nothing, so that what an activity does is what it says.
QUIET: dict[str, dict[str, Any]] = {
    "floor": {"track_factor": 1.5, "slip": 0, "slip_every": "0 s", "heading_bias": "0 deg", "bias_step": "0 deg"}
    | {"turn_ahead": "0 m", "turn_left": "0 m", "turn_wander": "0 m"},
    "off_the_map": {"start": "0 m", "turned": "0 deg", "walls": "0 m", "marker": "0 m"},
    "motors": {"mismatch": 0, "dead_band": 0.12},
    "counts": {"missed": 0, "added": 0},
    "heading": {"noise": "0.1 deg", "rate_noise": "0 deg/s", "drift": "0 deg"},
    "range": {"noise": "0 m", "missing": 0, "stray": 0},
    "camera": {"pitch_noise": "0 deg", "missed": 0, "false": 0, "flicker_every": "0 s"},
    "link": {"stall_every": "0 s"},
    "gripper": {"missed": 0, "dropped": 0},
}
LOOK_LASTS = "1.5 s"
FIELD: dict[str, Any] = {
    "boundary": [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]],
    "start": {"x": "3 m", "y": "2 m", "heading": "0 deg"},
    "zone": {"x": "75 cm", "y": "2 m", "width": "1 m", "depth": "1 m", "entry": "180 deg"},
}
KINDS = {kind: {"lid": kind, "height": "60 mm", "width": "50 mm"} for kind in ("amber", "teal", "violet")}


@dataclass(frozen=True)
class Did:
    """What an activity did: how it ended, why it failed, and the run."""

    progress: str
    why: str
    run: RecordedRun

    @property
    def way(self) -> tuple[float, float, float]:
        """True (ahead, left, turned) from the start, in m, m, rad; the start looks along x."""
        end = self.run.true_track[-1]
        turned = sum(
            math.remainder(b.heading - a.heading, math.tau) for a, b in itertools.pairwise(self.run.true_track)
        )
        return end.x - 3.0, end.y - 2.0, turned

    @property
    def seconds(self) -> float:
        return self.run.ended_ns * 1e-9


def state(does: str, given: Mapping[str, Any], ways: Mapping[str, str], lasts: str) -> dict[str, Any]:
    """Return a state that does it; ``ways`` leads from done, failed and late to the next states."""
    spec = ACTIVITIES[does].spec
    ends = {"done": spec.ends, "failed": spec.can_fail}
    exits = [{"when": end, "go": ways[end]} for end, possible in ends.items() if possible]
    return {"does": does, "with": dict(given), "exits": [*exits, {"after": lasts, "go": ways["late"]}]}


def behaviour(steps: Sequence[tuple[str, Mapping[str, Any]]], lasts: str) -> dict[str, Any]:
    """Return a behaviour that does one thing after the other; the last one is looked at."""
    names = [*(f"step_{index}" for index in range(len(steps) - 1)), "tested"]
    states = {}
    for name, following, (does, given) in zip(names, names[1:], steps, strict=False):
        ways = dict.fromkeys(("done", "failed", "late"), following)
        states[name] = state(does, given, ways, "60 s" if ACTIVITIES[does].spec.ends else LOOK_LASTS)
    ends = {"done": "done_", "failed": "failed_", "late": "late_"}
    states["tested"] = state(*steps[-1], ends, lasts)
    reached = {way["go"] for way in states["tested"]["exits"]}
    states |= {name: {"final": "done" if end == "done" else "failed"} for end, name in ends.items() if name in reached}
    return {"behaviour": "One activity", "start": names[0], "states": states}


@pytest.fixture
def doing(tmp_path: Path) -> Callable[..., Did]:
    """Do one activity after the other and look at the last: ``doing(('turn', {'by': '90 deg'}), objects=[...])``."""

    def write(name: str, values: Mapping[str, Any]) -> Path:
        (tmp_path / name).write_text(yaml.safe_dump(dict(values), sort_keys=False), encoding="utf-8")
        return tmp_path / name

    def do(
        *steps: tuple[str, Mapping[str, Any]],
        lasts: str = "60 s",
        seed: int = 1,
        devices: Mapping[str, Any] | None = None,
        without: Sequence[str] = (),
        field: Mapping[str, Any] | None = None,
        errand: Mapping[str, Any] | None = None,
        **bench: Any,
    ) -> Did:
        robot = yaml_source.read(CART, CART.name).values
        for family, keys in (devices or {}).items():
            robot["devices"][family] = robot["devices"][family] | keys
        for family in without:
            del robot["devices"][family]
        write("robot.yaml", robot)
        sections = {key: QUIET[key] | value if key in QUIET else value for key, value in bench.items()}
        write("bench.yaml", {"bench": "Quiet"} | QUIET | sections)
        write("behaviour.yaml", behaviour(steps, lasts))
        files = {"robot": "robot.yaml", "behaviour": "behaviour.yaml", "bench": "bench.yaml"}
        path = write(
            "errand.yaml",
            {"errand": "One activity", "files": files, "field": FIELD | (field or {}), "kinds": KINDS} | (errand or {}),
        )
        assembly, activities = with_user_activities(path, {})
        record = tmp_path / "run.sqlite"
        record.unlink(missing_ok=True)
        result = Rehearsal(assembly, activities, seed, record, wired=False).run(lambda *_: None)
        run = read(record)
        whys = [note.text for note in run.events_of(Note) if note.kind == "activity" and note.text.startswith("tested")]
        return Did(result.reason.rstrip("_"), whys[-1].partition("failed: ")[2] if whys else "", run)

    return do


@pytest.fixture
def jar() -> Callable[..., dict[str, str]]:
    return lambda x, y, kind="amber": {"kind": kind, "x": f"{x} m", "y": f"{y} m"}
