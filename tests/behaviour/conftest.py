"""A behaviour written as YAML in a test, and a run of it whose devices and activities are scripted."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from rover.activities.registry import specs
from rover.behaviour.analysis import examine
from rover.behaviour.build import Builder
from rover.behaviour.engine import Engine
from rover.behaviour.model import BehaviourGraph, StateNode
from rover.behaviour.vocabulary import SENSORS, Progress, Signals, attribute_of
from rover.files import load
from rover.files.problems import FileProblems, Problem
from rover.files.robot import Robot

ROBOT: dict[str, Any] = {
    "robot": "Test cart",
    "body": {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"},
    "devices": {
        "drive": {"driver": "simulated"},
        "counts": {"driver": "simulated"},
        "heading": {"driver": "simulated"},
        "range": {"driver": "simulated"},
        "camera": {"driver": "simulated"},
        "gripper": {"driver": "simulated", "feedback": "position"},
        "battery": {"driver": "simulated"},
    },
}


class ScriptedPerformer:
    """Carries nothing out; remembers what it was told."""

    def __init__(self) -> None:
        self.begun: list[tuple[str, dict[str, Any], int]] = []
        self.log: list[str] = []
        self.time_outs: list[str] = []

    def begin(self, state: StateNode, values: Mapping[str, Any], entry: int) -> None:
        self.begun.append((state.path, dict(values), entry))
        self.log.append(f"begin {state.path}")

    def cancel(self) -> None:
        self.log.append("cancel")

    def time_out(self, why: str) -> None:
        self.time_outs.append(why)


class Run:
    """An engine at work, with every device ok and nothing reported. Times are in seconds, a step takes 0.1 s."""

    def __init__(self, graph: BehaviourGraph, **signals: Any) -> None:
        self.now = 0.0
        self.performer = ScriptedPerformer()
        self.signals = Signals()
        for family in SENSORS:
            setattr(self.signals, f"{family}_ok", True)
        self.set(**signals)
        self.engine = Engine(graph, self.performer)
        self.engine.begin(0, self.signals)

    @property
    def path(self) -> str:
        return self.engine.path

    def set(self, **signals: Any) -> None:
        """Set signals by name, with '_' for the dot: ``objects_left=2``."""
        for name, value in signals.items():
            setattr(self.signals, name, value)

    def report(self, device: str, taken: float | None = None, **signals: Any) -> "Run":
        """Let a device report, by default with a value taken at the next step's time."""
        setattr(self.signals, f"{device}_n", getattr(self.signals, f"{device}_n") + 1)
        setattr(self.signals, f"{device}_t", round((self.now + 0.1 if taken is None else taken) * 1e9))
        self.set(**signals)
        return self

    def step(self, seconds: float = 0.1) -> str:
        """Take one step and return the state after it."""
        self.now = round(self.now + seconds, 9)
        self.engine.step(round(self.now * 1e9), self.signals)
        return self.path

    def steps(self, count: int) -> list[str]:
        return [self.step() for _ in range(count)]

    def end(self, progress: Progress) -> None:
        """Let the present activity end, as after a step."""
        if progress == Progress.DONE:
            self.engine.done()
        else:
            self.engine.fail("scripted to fail")

    def resume(self) -> str:
        self.engine.resume(round(self.now * 1e9), self.signals)
        return self.path


@pytest.fixture
def graph_of(tmp_path: Path) -> Callable[..., BehaviourGraph]:
    """Build the graph of a behaviour text; further files are given by name: ``files={'part.yaml': text}``."""

    def build(text: str, files: Mapping[str, str] | None = None) -> BehaviourGraph:
        for name, content in (files or {}).items():
            (tmp_path / name).parent.mkdir(exist_ok=True, parents=True)
            (tmp_path / name).write_text(content, encoding="utf-8")
        file = tmp_path / "behaviour.yaml"
        file.write_text("behaviour: Test\n" + text, encoding="utf-8")
        return Builder(specs()).build(load.load(file, "behaviour"))

    return build


@pytest.fixture
def run_of(graph_of: Callable[..., BehaviourGraph]) -> Callable[..., Run]:
    """Begin a behaviour text; signals that matter at entry are given by name."""

    def begin(text: str, files: Mapping[str, str] | None = None, **signals: Any) -> Run:
        return Run(graph_of(text, files), **signals)

    return begin


@pytest.fixture
def engine_of(graph_of: Callable[..., BehaviourGraph]) -> Callable[[str], Engine]:
    """Make an engine that has not begun."""
    return lambda text: Engine(graph_of(text), ScriptedPerformer())


@pytest.fixture
def problems_of(graph_of: Callable[..., BehaviourGraph]) -> Callable[..., list[str]]:
    """Return the mistakes of a behaviour text, each as 'text: why'."""

    def problems(text: str, files: Mapping[str, str] | None = None) -> list[str]:
        try:
            graph_of(text, files)
        except FileProblems as error:
            return [f"{one.text}: {one.why}" for one in error.problems]
        return []

    return problems


@pytest.fixture
def robot() -> Robot:
    return Robot.model_validate(ROBOT)


@pytest.fixture
def findings_of(graph_of: Callable[..., BehaviourGraph], robot: Robot) -> Callable[..., list[Problem]]:
    """Return what the analysis finds in a behaviour that can be read."""

    def findings(text: str, robot: Robot = robot) -> list[Problem]:
        return examine(graph_of(text), specs(), robot)

    return findings


@pytest.fixture
def signals() -> Callable[..., Signals]:
    """Make signals from their dotted names."""

    def make(values: Mapping[str, Any]) -> Signals:
        made = Signals()
        for name, value in values.items():
            setattr(made, attribute_of(name), value)
        return made

    return make
