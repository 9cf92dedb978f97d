"""A core made from files, and a run of it with readings that the test gives."""

import math
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
import yaml

from rover.activities.activity import Activity
from rover.activities.registry import ACTIVITIES
from rover.core import Action, Core, StepReadings, StepRecord
from rover.devices.readings import (
    BatteryValue,
    Detection,
    Detections,
    HeadingValue,
    JawsValue,
    RangeValue,
    Reading,
    StopInputValue,
    WheelCounts,
)
from rover.files import yaml_source
from rover.session.assembly import assemble

ROOT = Path(__file__).parents[2]
STEP = 0.02
DRIVE_ON = """
behaviour: Drive on
start: forward
states:
  forward:
    does: drive_on
    with: {speed: 0.3 m/s}
    exits:
      - {when: failed, go: over}
      - {after: 60 s, go: over}
  over: {final: failed}
"""
VALUES: dict[str, Any] = {
    "counts": WheelCounts(0, 0),
    "heading": HeadingValue(0.0, 0.0, 3),
    "range": RangeValue(None),
    "camera": Detections(()),
    "gripper": JawsValue(1.0, False),
    "battery": BatteryValue(12.0, 0.5),
    "stop_input": StopInputValue(True),
}


class Stepping:
    """A core fed with readings: in each step every device reports what was set last, except the silent ones.

    The wheels turn as they are told, at once and exactly; the robot stands on blocks, so nothing else changes.
    """

    def __init__(self, core: Core) -> None:
        self.core = core
        self.now = 0.0
        self.values = dict(VALUES)
        self.sequences = dict.fromkeys(VALUES, -1)
        self.silent: set[str] = set()
        self.duties = (0.0, 0.0)
        self.rest = [0.0, 0.0]

    def turn_wheels(self) -> None:
        robot = self.core.known.robot
        drive, counts = robot.devices.drive, list(self.values["counts"])
        for side, duty in enumerate(self.duties):
            past = max(0.0, (abs(duty) - drive.dead_band) / (1.0 - drive.dead_band))
            way = math.copysign(past * drive.top_speed * STEP, duty)
            exact = way / robot.body.metres_per_count + self.rest[side]
            self.rest[side] = exact - round(exact)
            counts[side] += round(exact)
        self.values["counts"] = WheelCounts(*counts)

    def readings(self) -> list[tuple[str, Reading]]:
        now_ns = round(self.now * 1e9)
        new = []
        for device in sorted(set(self.values) - self.silent):
            self.sequences[device] = self.sequences.get(device, -1) + 1
            new.append((device, Reading(now_ns, self.sequences[device], self._with_noise(device))))
        return new

    def _with_noise(self, device: str) -> Any:
        """What stays the same to the last digit while the robot drives would be taken for frozen."""
        value, noise = self.values[device], 1e-6 * (self.sequences[device] % 2)
        match value:
            case HeadingValue(angle):
                return value._replace(angle=angle + noise)
            case BatteryValue(volts):
                return value._replace(volts=volts + noise)
        return value

    def step(self, *actions: Action, faults: Sequence[tuple[str, str]] = (), **values: Any) -> StepRecord:
        """Take one step; devices' values by name stay set."""
        if any(self.duties):
            self.turn_wheels()
        self.values |= values
        self.now = round(self.now + STEP, 9)
        record = self.core.step(StepReadings(round(self.now * 1e9), self.readings(), faults, actions))
        self.duties = record.drive[:2]
        return record

    def steps(self, seconds: float, **values: Any) -> list[StepRecord]:
        return [self.step(**values) for _ in range(round(seconds / STEP))]

    def roll(self, seconds: float, speed: float) -> list[StepRecord]:
        """Take steps in which both wheels turn at a speed (m/s)."""
        metres_per_count = self.core.known.robot.body.metres_per_count
        done = []
        for _ in range(round(seconds / STEP)):
            left, right, _ = self.values["counts"]
            more = round(speed * STEP / metres_per_count)
            done.append(self.step(counts=WheelCounts(left + more, right + more)))
        return done


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project folder with the cart, fully fitted, and the built-in behaviours."""
    (tmp_path / "config").mkdir()
    shutil.copytree(ROOT / "behaviours", tmp_path / "behaviours")
    cart = yaml_source.read(ROOT / "config/cart.yaml", "cart.yaml").values
    cart["devices"]["gripper"]["feedback"] = "position"
    cart["devices"]["stop_input"] = {"driver": "simulated"}
    (tmp_path / "config/cart.yaml").write_text(yaml.safe_dump(cart, sort_keys=False), encoding="utf-8")
    return tmp_path


@pytest.fixture
def creeping() -> str:
    """A behaviour that drives on so slowly that the field lasts for a minute and a half."""
    return DRIVE_ON.replace("0.3 m/s", "5 cm/s")


@pytest.fixture
def stepping(folder: Path) -> Callable[..., Stepping]:
    """Make a core with a behaviour, in the middle of the greenhouse's bay: ``stepping(DRIVE_ON)``.

    ``devices`` are further ones, ``outputs`` those of one's own, as the robot file has them.
    """

    def make(
        behaviour: str = DRIVE_ON,
        activities: Mapping[str, type[Activity]] = ACTIVITIES,
        seed: int = 1,
        devices: Mapping[str, Any] | None = None,
        outputs: Mapping[str, Any] | None = None,
    ) -> Stepping:
        if devices or outputs:
            cart = yaml_source.read(folder / "config/cart.yaml", "cart.yaml").values
            cart["devices"] |= devices or {}
            cart["outputs"] = outputs or {}
            (folder / "config/cart.yaml").write_text(yaml.safe_dump(cart, sort_keys=False), encoding="utf-8")
        (folder / "behaviours/tested.yaml").write_text(behaviour, encoding="utf-8")
        errand = yaml_source.read(ROOT / "config/greenhouse.yaml", "greenhouse.yaml").values
        errand["files"] = {"robot": "cart.yaml", "behaviour": "../behaviours/tested.yaml"}
        errand["field"]["start"] = {"x": "3 m", "y": "2 m", "heading": "0 deg"}
        errand.pop("settings", None)
        path = folder / "config/errand.yaml"
        path.write_text(yaml.safe_dump(errand, sort_keys=False), encoding="utf-8")
        made = assemble(path, {}, activities)
        return Stepping(Core(made.robot, made.errand, made.graph, activities, seed))

    return make


@pytest.fixture
def jar() -> Callable[..., Detections]:
    """A frame with one jar: ``jar(distance, bearing)`` from the camera."""

    def frame(distance: float, bearing: float = 0.0, kind: str = "amber") -> Detections:
        return Detections((Detection(kind, bearing, distance, 0.01, 0.02, 0.1),))

    return frame
