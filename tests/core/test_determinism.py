"""The same readings give the same decisions, to the last bit, whatever else the process does."""

import json
import os
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rover.devices.readings import HeadingValue, RangeValue, WheelCounts
from rover.record.reader import read

ROOT = Path(__file__).parents[2]
readings = st.lists(
    st.tuples(st.integers(-8, 25), st.integers(-8, 25), st.floats(-0.3, 0.3), st.none() | st.floats(0.05, 4.0)),
    min_size=5,
    max_size=60,
)


def decided(at_work, values):
    records, left, right = [], 0, 0
    for more_left, more_right, angle, distance in values:
        left, right = left + more_left, right + more_right
        random.random()  # what others draw from the global generator must not matter
        records.append(
            at_work.step(counts=WheelCounts(left, right), heading=HeadingValue(angle), range=RangeValue(distance))
        )
    return records


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(values=readings)
def test_the_same_readings_give_equal_records(stepping, values):
    first = decided(stepping(), values)
    random.seed(99)
    assert decided(stepping(), values) == first


PROGRAM = """
import json, random, sys
from pathlib import Path
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
random.seed({noise})
assembly, activities = with_user_activities(Path({errand!r}), {{}})
result = Rehearsal(assembly, activities, 5, Path({record!r}), wired=False).run(lambda *_: random.random())
print(json.dumps([[find.kind, find.x_m.hex(), find.y_m.hex()] for find in result.finds]))
"""


def test_neither_the_hash_seed_nor_the_global_generator_matters(tmp_path):
    """Two processes with their own order of sets and their own noise: finds and state changes are the same."""
    printed, happenings = [], []
    for hash_seed in ("1", "2"):
        record = tmp_path / f"{hash_seed}.sqlite"
        errand = ROOT / "config/greenhouse.yaml"
        program = PROGRAM.format(noise=hash_seed, errand=str(errand), record=str(record))
        done = subprocess.run(
            [sys.executable, "-c", program],
            env=os.environ | {"PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
        )
        printed.append(json.loads(done.stdout))
        happenings.append(read(record).happenings)
    assert len(printed[0]) >= 8
    assert printed[0] == printed[1]
    assert happenings[0] == happenings[1]


PURE = ("core", "estimate", "motion", "vision", "activities", "behaviour")


@pytest.mark.parametrize("module", ["time", "datetime", "socket", "subprocess", "threading", "secrets"])
def test_the_core_imports_nothing_that_reads_a_clock_or_the_world(module):
    sources = [path for part in PURE for path in sorted((ROOT / "rover" / part).glob("*.py"))]
    assert len({path.parent for path in sources}) == len(PURE)
    imports = re.compile(rf"^\s*(import|from) {module}\b", re.MULTILINE)
    assert [str(path) for path in sources if imports.search(path.read_text())] == []
