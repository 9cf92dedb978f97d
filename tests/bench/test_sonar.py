import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from rover.bench.floor import Round, wall
from rover.bench.sonar import Sonar

HALF = math.radians(15)
SPECULAR = math.radians(30)


def sonar(bay, **errors):
    return Sonar(bay.bench_file(range=errors), bay.robot().devices.range, 1)


coordinates = st.floats(-3, 3)


def by_rays(pose, segment):
    """Return the nearest echo of a wall by looking along 2000 rays of the cone, each by itself."""
    x, y, heading = pose
    each, best = wall(segment), math.inf
    for step in range(2001):
        angle = heading + HALF * (step / 1000 - 1)
        across = -math.sin(angle) * each.along_x + math.cos(angle) * each.along_y
        if abs(across) < math.cos(SPECULAR - 0.002):  # just inside: at the very limit rounding decides
            continue
        dx, dy = each.x - x, each.y - y
        way = (dx * each.along_y - dy * each.along_x) / (
            math.cos(angle) * each.along_y - math.sin(angle) * each.along_x
        )
        foot = (way * math.cos(angle) - dx) * each.along_x + (way * math.sin(angle) - dy) * each.along_y
        if way > 0.0 and 0.0 <= foot <= each.length:
            best = min(best, way)
    return best


@given(
    ends=st.tuples(coordinates, coordinates, coordinates, coordinates),
    heading=st.floats(-math.pi, math.pi),
)
def test_a_wall_echoes_from_its_nearest_point_in_the_cone(bay, ends, heading):
    segment = (ends[:2], ends[2:])
    assume(math.dist(*segment) > 0.001)
    found = sonar(bay).nearest((0.0, 0.0, heading), [wall(segment)], [])
    expected = by_rays((0.0, 0.0, heading), segment)
    if expected < 3.9 and found < math.inf:
        assert found == pytest.approx(expected, abs=0.02)
    # Rays 0.5 mrad apart may miss a sliver that the closed form finds, never the other way round.
    if expected < 3.9:
        assert found < math.inf


@pytest.mark.parametrize(
    ("turned", "distance"), [(0, 2.0), (14, 2.0), (25, 2.0 / math.cos(math.radians(10))), (46, None)]
)
def test_a_wall_is_heard_at_right_angles_and_not_beyond_the_angle_of_incidence(bay, turned, distance):
    heard = sonar(bay).nearest((0.0, 0.0, math.radians(turned)), [wall(((2.0, -9.0), (2.0, 9.0)))], [])
    assert heard == (pytest.approx(distance) if distance else math.inf)


def test_the_nearest_of_wall_and_jar_is_heard_and_only_inside_the_cone(bay):
    walls = [wall(((2.0, -9.0), (2.0, 9.0)))]
    ear = sonar(bay)
    assert ear.nearest((0, 0, 0), walls, [Round(1.0, 0.1, 0.025)]) == pytest.approx(math.hypot(1.0, 0.1) - 0.025)
    assert ear.nearest((0, 0, 0), walls, [Round(1.0, 0.5, 0.025)]) == 2.0
    assert ear.nearest((0, 0, 0), walls, [Round(-1.0, 0.0, 0.025)]) == 2.0


def test_a_jar_on_the_edge_of_the_cone_is_heard_by_the_part_inside(bay):
    jar = Round(math.cos(HALF + 0.02), math.sin(HALF + 0.02), 0.025)
    expected = math.cos(0.02) - math.sqrt(0.025**2 - math.sin(0.02) ** 2)
    assert sonar(bay).nearest((0, 0, 0), [], [jar]) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("errors", "is_wrong"),
    [({"missing": "10 %"}, lambda heard: heard is None), ({"stray": "10 %"}, lambda heard: heard not in (None, 1.0))],
)
def test_missing_and_stray_echoes_have_their_share(bay, errors, is_wrong):
    ear = sonar(bay, **errors)
    wrong = sum(is_wrong(ear.hear(1.0)) for _ in range(2000))
    # 200 of 2000 on average, with a standard deviation of 13.
    assert 150 <= wrong <= 250


def test_nothing_is_heard_beyond_the_sensors_reach_and_nothing_reads_less_than_its_least(bay):
    ear = sonar(bay)
    assert ear.hear(math.inf) is None
    assert ear.hear(0.001) == 0.03


def test_the_held_jar_blocks_the_sensor(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.14, 2.0)])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    assert bench.objects[0].held
    assert {reading.value.distance for reading in bay.reports(bench, "range", 1.0)} == {0.03}


def test_the_range_driver_looks_from_the_sensors_face(bay):
    bench = bay.quiet_bench(walls=[[["3 m", "0 m"], ["3 m", "4 m"]]])
    assert {round(reading.value.distance, 9) for reading in bay.reports(bench, "range", 1.0)} == {1.0 - 0.12}


@pytest.mark.parametrize(("begins", "distance"), [(28, 2.0 / math.cos(math.radians(28))), (32, math.inf)])
def test_a_wall_that_begins_where_sound_glances_off_is_silent(bay, begins, distance):
    beyond = wall(((2.0, 2.0 * math.tan(math.radians(begins))), (2.0, 9.0)))
    assert sonar(bay).nearest((0.0, 0.0, math.radians(25)), [beyond], []) == pytest.approx(distance)
