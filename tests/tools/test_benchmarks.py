"""The benchmarks are loose scripts: each is loaded here, and the quick ones run in their smallest form.

What they measure is asserted nowhere; a name that they rely on and that is gone is noticed.
"""

import importlib
from pathlib import Path

import pytest

from rover.session.assembly import with_user_activities

ROOT = Path(__file__).parents[2]
BENCHMARKS = ROOT / "tools" / "benchmarks"


@pytest.fixture(autouse=True)
def path(monkeypatch):
    monkeypatch.syspath_prepend(str(BENCHMARKS))


@pytest.mark.parametrize("name", sorted(path.stem for path in BENCHMARKS.glob("*.py") if path.stem != "__main__"))
def test_each_finds_what_it_imports(name):
    importlib.import_module(name)


def test_the_bare_loop_gets_round(monkeypatch):
    bare_loop = importlib.import_module("bare_loop")
    monkeypatch.setattr(bare_loop, "STEPS", 2_000)
    assembly, _ = with_user_activities(ROOT / "config" / "greenhouse.yaml", {})
    assert bare_loop.measure(assembly, 1) > 0.0


def test_the_parts_of_a_step_are_those_that_there_are():
    parts = importlib.import_module("rehearsal").PARTS
    assert [name for cls, name, _ in parts if not callable(getattr(cls, name, None))] == []


def test_deciding_by_hand_and_by_the_engine_is_the_same(monkeypatch):
    decide = importlib.import_module("decide")
    monkeypatch.setattr(decide, "STEPS", 2_000)
    table, _, changes = decide.measure()
    assert len(table) == 4
    assert changes > 1
