"""Objects between the robot and what does not give way."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.bench.objects import outline, pushed
from rover.devices.jaws import jaws_size

WALL = [["3 m", "0 m"], ["3 m", "4 m"]]
"""Before the robot, which starts at (2, 2) and looks along x; its jaws reach 14 cm, their tips 2 cm more."""
RADIUS = 0.025


def test_an_object_before_a_wall_blocks_the_robot_and_stays_where_it_is(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.9, 2.0)], walls=[WALL])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 8.0)
    jar = bench.objects[0]
    assert jar.x == pytest.approx(3.0 - RADIUS, abs=0.003)
    assert bench.x + bench.front == pytest.approx(jar.x - RADIUS, abs=0.006)
    assert bench.base.speed == 0.0


def test_the_robot_can_leave_what_it_has_jammed(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.9, 2.0)], walls=[WALL])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 8.0)
    stood = bench.x
    bench.jaws(1.0)
    bench.advance(bench.now_ns + bay.seconds(1.0))
    bay.run(bench, -0.3, -0.3, 1.0)
    assert bench.x < stood - 0.1


def test_jaws_that_open_against_an_object_at_a_wall_can_be_drawn_back(bay):
    """They squeeze it, and no way of the robot makes room for it; it may still leave."""
    bench = bay.quiet_bench(objects=[bay.jar(2.15, 2.08)], walls=[[["2.13 m", "2.107 m"], ["2.4 m", "2.107 m"]]])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bench.jaws(1.0)
    bench.advance(bay.seconds(2.0))
    bay.run(bench, -0.3, -0.3, 1.0)
    assert bench.x < 1.9
    assert bench.objects[0].y == pytest.approx(2.08, abs=0.003)


@pytest.mark.parametrize(("left", "ends"), [(0.05, 0.03), (0.08, 0.095), (-0.05, -0.03), (-0.08, -0.095)])
def test_a_finger_pushes_an_object_to_the_nearer_side(bay, left, ends):
    """Into the slot between the jaws, or out past them: whichever is nearer."""
    robot = outline(bay.robot().body, jaws_size(None, 2.0 * RADIUS))
    assert pushed(0.15, left, RADIUS, robot, (0.03, 0.07)) == pytest.approx((0.15, ends))


def test_an_object_at_a_slant_slides_along_the_wall(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.9, 2.0)], walls=[[["2.9 m", "2.4 m"], ["3.3 m", "1.6 m"]]])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 9.0)
    jar = bench.objects[0]
    assert jar.y < 1.97
    along = (jar.x - 2.9) * 0.4472 - (jar.y - 2.4) * 0.8944
    assert math.dist((jar.x, jar.y), (2.9 + along * 0.4472, 2.4 - along * 0.8944)) == pytest.approx(RADIUS, abs=0.003)


def test_one_object_jams_another_against_a_wall(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.6, 2.0), bay.jar(2.8, 2.0)], walls=[WALL])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 8.0)
    first, second = bench.objects
    assert second.x == pytest.approx(3.0 - RADIUS, abs=0.004)
    assert first.x == pytest.approx(3.0 - 3.0 * RADIUS, abs=0.006)
    assert bench.x + bench.front == pytest.approx(first.x - RADIUS, abs=0.008)


def test_a_post_stops_it_as_well(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.6, 2.0)], obstacles=[{"x": "3 m", "y": "2 m", "radius": "5 cm"}])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 8.0)
    assert bench.objects[0].x == pytest.approx(2.95 - RADIUS, abs=0.004)


@pytest.mark.parametrize("seed", range(8))
def test_what_the_jaws_knock_away_does_not_fly_through_a_wall(bay, seed):
    x = 2.0 + 0.14
    bench = bay.quiet_bench(
        seed,
        objects=[bay.jar(x, 2.0)],
        walls=[[[f"{x + 0.04} m", "0 m"], [f"{x + 0.04} m", "4 m"]]],
        gripper={"missed": 1, "pushed": "20 cm"},
    )
    bench.jaws(0.0)
    bench.advance(bay.seconds(2.0))
    assert bench.contacts()
    assert bench.objects[0].x <= x + 0.04 - RADIUS + 1e-9


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 10_000), st.lists(st.tuples(st.floats(-0.6, 0.6), st.floats(-0.6, 0.6)), min_size=4, max_size=8))
def test_nothing_is_ever_pushed_through_a_wall_or_into_a_post(bay, seed, duties):
    box = [["1.4 m", "1.4 m"], ["2.8 m", "1.4 m"], ["2.8 m", "2.6 m"], ["1.4 m", "2.6 m"]]
    places = [(2.35, 1.8), (2.4, 2.1), (2.5, 1.95), (2.6, 2.3), (1.6, 1.6), (2.0, 2.45), (1.7, 2.3)]
    bench = bay.quiet_bench(
        seed,
        objects=[bay.jar(*place) for place in places],
        walls=[[box[at - 1], corner] for at, corner in enumerate(box)],
        obstacles=[{"x": "2.65 m", "y": "1.6 m", "radius": "4 cm"}],
    )
    for left, right in duties:
        bay.run(bench, left, right, 1.5)
        for jar in bench.objects:
            if not jar.held:
                assert 1.4 + RADIUS - 0.004 <= jar.x <= 2.8 - RADIUS + 0.004
                assert 1.4 + RADIUS - 0.004 <= jar.y <= 2.6 - RADIUS + 0.004
                assert math.dist((jar.x, jar.y), (2.65, 1.6)) >= 0.04 + RADIUS - 0.004
