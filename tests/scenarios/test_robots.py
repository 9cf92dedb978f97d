"""Robots of other sizes, speeds and loop rates on the same errand: only the robot file's numbers differ."""

import importlib.util
import sys
from pathlib import Path

import pytest

TOOLS = Path(__file__).parents[2] / "tools" / "benchmarks"


@pytest.fixture(scope="module")
def robots():
    for name in ("position", "robots"):
        spec = importlib.util.spec_from_file_location(name, TOOLS / f"{name}.py")
        module = sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("number", [2, 9])
def test_a_smaller_and_a_larger_robot_deliver_as_well(robots, number):
    delivered, objects, *_ = robots.rehearse((robots.ROBOTS[number], 1))
    assert delivered >= objects - 1


@pytest.mark.long
@pytest.mark.parametrize("number", range(12))
def test_twelve_robots_deliver_without_retuning(robots, number):
    delivered, objects, *_ = robots.rehearse((robots.ROBOTS[number], 1))
    assert delivered >= objects - 1
