"""How well the robot turns and keeps its heading with motors that differ by 15 %, by the bench's truth."""

import math

import pytest

MISMATCHED = {"mismatch": 0.15, "dead_band": 0.18}
DEGREE = math.radians(1.0)


def headings(did):
    return [point.heading for point in did.run.true_track]


@pytest.mark.parametrize("by", ["30 deg", "90 deg", "-90 deg", "170 deg"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_turn_overshoots_by_three_degrees_at_most(doing, by, seed):
    turn = doing(("turn", {"by": by}), motors=MISMATCHED, seed=seed)
    wanted = math.radians(float(by.split()[0]))
    farthest = max(math.remainder(heading, math.tau) * math.copysign(1.0, wanted) for heading in headings(turn))
    assert turn.progress == "done"
    assert farthest - abs(wanted) <= 3.0 * DEGREE


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_straight_run_keeps_its_heading_within_a_degree_and_a_half(doing, seed):
    run = doing(("run_straight", {"length": "2.5 m"}), motors=MISMATCHED, seed=seed)
    off = [math.remainder(heading, math.tau) for heading in headings(run)]
    assert run.progress == "done"
    assert math.sqrt(sum(each * each for each in off) / len(off)) <= 1.5 * DEGREE
