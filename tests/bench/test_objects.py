import math
from itertools import combinations

import pytest

from rover.bench.objects import outside_zone
from rover.errors import UserError


@pytest.mark.parametrize("seed", range(20))
def test_scattered_jars_stand_clear_of_everything(bay, seed):
    errand = bay.errand(walls={"shelf": [["3 m", "1 m"], ["5 m", "1 m"]]})
    bench = type(bay.quiet_bench())(
        bay.bench_file(scatter={"amber": 3, "teal": 3, "violet": 3}), bay.robot(), errand, seed
    )
    things = bench.objects
    assert [thing.kind for thing in things] == ["amber"] * 3 + ["teal"] * 3 + ["violet"] * 3
    assert [thing.id for thing in things] == [str(number) for number in range(1, 10)]
    for thing in things:
        assert 0.35 <= thing.x <= 5.65
        assert 0.35 <= thing.y <= 3.65
        assert math.hypot(thing.x - 2.0, thing.y - 2.0) >= 0.6
        assert outside_zone(thing.x, thing.y, errand.field.zone) >= 0.5
        assert not (3.0 <= thing.x <= 5.0 and abs(thing.y - 1.0) < 0.35)
    assert min(math.hypot(one.x - other.x, one.y - other.y) for one, other in combinations(things, 2)) >= 0.35


def test_too_many_jars_are_an_error(bay):
    with pytest.raises(UserError, match="no room for 900 objects"):
        bay.quiet_bench(scatter={"amber": 900})


def test_the_body_pushes_a_jar_ahead_of_the_closed_jaws(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.5, 2.0)])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    bay.run(bench, 0.5, 0.5, 2.0)
    # Jaw tips 16 cm ahead, the jar's radius 2.5 cm.
    assert bench.objects[0].x == pytest.approx(bench.x + 0.16 + 0.025)
    assert bench.objects[0].y == pytest.approx(2.0)
    assert not bench.objects[0].held


def test_reversing_pushes_a_jar_behind(bay):
    bench = bay.quiet_bench(objects=[bay.jar(1.5, 2.0)])
    bay.run(bench, -0.5, -0.5, 1.5)
    assert bench.objects[0].x == pytest.approx(bench.x - 0.12 - 0.025)


def test_a_pushed_jar_pushes_the_next_one(bay):
    bench = bay.quiet_bench(objects=[bay.jar(1.5, 2.0), bay.jar(1.4, 2.0)])
    bay.run(bench, -0.5, -0.5, 1.5)
    assert bench.objects[0].x - bench.objects[1].x == pytest.approx(0.05)


def test_jars_beside_the_way_are_not_disturbed(bay):
    """The body's half width is 13 cm and the jar's radius 2.5 cm: 16 cm clears, 15 cm does not."""
    for aside, stays in ((0.16, True), (0.15, False)):
        bench = bay.quiet_bench(objects=[bay.jar(2.5, 2.0 + aside)])
        bay.run(bench, 0.5, 0.5, 3.0)
        assert (bench.objects[0][2:4] == (2.5, 2.0 + aside)) is stays


def test_a_wall_stops_the_robot_and_its_wheels(bay):
    bench = bay.quiet_bench(walls=[[["3 m", "0 m"], ["3 m", "4 m"]]])
    bay.run(bench, 0.5, 0.5, 5.0)
    assert bench.x == pytest.approx(3.0 - 0.16, abs=0.004)
    assert bench.base.left_travel == pytest.approx(bench.x - 2.0, abs=0.02)
    assert bench.contacts() == [(None, pytest.approx(0.3, abs=0.02))]
    bay.run(bench, -0.5, -0.5, 1.0)
    assert bench.x < 2.6


def test_an_obstacle_stops_the_robot_only_where_it_stands(bay):
    for aside, stopped in ((0.17, True), (0.19, False)):
        bench = bay.quiet_bench(obstacles=[{"x": "3 m", "y": f"{2 + aside} m", "radius": "5 cm"}])
        bay.run(bench, 0.5, 0.5, 5.0)
        assert bool(bench.contacts()) is stopped
        assert (bench.x < 3.0) is stopped
