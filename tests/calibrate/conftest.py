"""A cart, a mild floor, and a helper with tape and ruler, as `rover calibrate --bench` has them."""

from pathlib import Path
from typing import Any

import pytest

from rover.calibrate.practice import BenchAssistant, BenchDrivetrain, practice_bench
from rover.devices.families import model_for
from rover.files import load

CONFIG = Path(__file__).parents[2] / "config"


@pytest.fixture
def robot():
    return load.load(CONFIG / "cart.yaml", "robot").model


@pytest.fixture
def mild():
    return load.load(CONFIG / "mild.yaml", "bench").model


@pytest.fixture
def stage(robot, mild):
    """Return what sets a practice up: (bench, drivetrain, assistant), with some keys of the bench file changed."""

    def make(seed: int = 1, robot=robot, **changes: Any):
        file = type(mild).model_validate({"bench": "Mild", **changes})
        bench = practice_bench(file, robot, seed)
        return bench, BenchDrivetrain(bench), BenchAssistant(bench)

    return make


@pytest.fixture
def fitted(robot):
    """Return the cart with some keys of its devices changed (SI values), or with devices taken off (None)."""

    def changed(family: str, keys: dict[str, Any]) -> Any:
        options = getattr(robot.devices, family).options | keys
        return model_for(family, options["driver"]).model_construct(**options)

    def make(**changes: Any):
        devices = {family: None if keys is None else changed(family, keys) for family, keys in changes.items()}
        return robot.model_copy(update={"devices": robot.devices.model_copy(update=devices)})

    return make
