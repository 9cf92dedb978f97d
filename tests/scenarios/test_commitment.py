"""Two equal jars, left and right: once chosen, the target stays the target."""

import importlib.util
from pathlib import Path

import pytest

from rover.events import Find, ObjectEvent

TOOLS = Path(__file__).parents[2] / "tools" / "benchmarks"
SEEDS = (38, 59, 105, 2, 3)


@pytest.fixture(scope="module")
def benchmark():
    """The module `commitment` of the benchmarks, which has the bench."""
    spec = importlib.util.spec_from_file_location("commitment", TOOLS / "commitment.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_between_two_equal_jars_the_robot_never_changes_its_mind(benchmark):
    runs = [benchmark.approach(seed) for seed in SEEDS]
    assert [(run.switches, run.arrived) for run in runs] == [(0, True)] * len(SEEDS)


def test_without_commitment_it_does(benchmark):
    runs = [benchmark.approach(seed, benchmark.best_of_the_frame) for seed in SEEDS]
    assert sum(run.switches for run in runs) > 0


def test_what_the_jaws_hold_stays_the_target_until_it_is_found(collect, small_bay):
    """The other jar is in view all the while; what a failing grip would have put off is the one that was gripped."""
    run = collect([small_bay.JAR, {"kind": "teal", "x": "2.9 m", "y": "1 m"}], keys={"expect": 2}).run
    events = [happening.event for happening in run.happenings if isinstance(happening.event, (ObjectEvent, Find))]
    holds, meanwhile = False, []
    for event in events:
        what = event.what if isinstance(event, ObjectEvent) else "found"
        if holds and what in ("chosen", "forgotten"):
            meanwhile.append(event)
        holds = what == "gripped" or (holds and what not in ("not held", "found"))
    assert len(run.events_of(Find)) == 2
    assert meanwhile == []
