"""What a floor has that no map tells: a turn centre of its own, lips, and things that stand a little elsewhere."""

import math
import statistics

import pytest

from rover.bench.bench import Bench
from rover.bench.draws import stream
from rover.bench.floor import BiasField, TurnCentre
from rover.bench.orientation import Orientation
from rover.bench.sight import Sight
from rover.estimate.covariance import BIAS_DISTANCE, DRIFT_HOLDS
from rover.files.bench import BenchFile


def test_turning_on_the_spot_goes_round_the_turn_centre(bay):
    """A full turn comes back; half a turn is twice the way to the centre, and the centre itself stays."""
    bench = bay.quiet_bench(floor={"turn_ahead": "3 cm", "turn_left": "-1 cm"})
    centre = bench.to_field(0.03, -0.01)
    for part in range(1, 9):
        while abs(math.remainder(bench.heading - part * math.pi / 4.0, math.tau)) > 0.02:
            bay.run(bench, -0.3, 0.3, 0.01)
        assert bench.to_field(0.03, -0.01) == pytest.approx(centre, abs=0.0005)
        if part == 4:
            assert math.dist(bench.pose[:2], (2.0, 2.0)) == pytest.approx(2.0 * math.hypot(0.03, 0.01), abs=0.001)
    assert bench.pose[:2] == pytest.approx((2.0, 2.0), abs=0.002)


def test_a_straight_way_does_not_care_where_the_turn_centre_is(bay):
    benches = [bay.quiet_bench(floor={"turn_ahead": way, "turn_left": way}) for way in ("0 m", "5 cm")]
    for bench in benches:
        bay.run(bench, 0.3, 0.3, 2.0)
    assert benches[0].pose == benches[1].pose


def test_the_turn_centre_is_drawn_by_the_seed_within_its_span(bay):
    floor = bay.bench_file(floor={"turn_ahead": ["-2 cm", "2 cm"], "turn_left": ["1 cm", "2 cm"]}).floor
    centres = [TurnCentre(floor, seed).turn(0.0) for seed in range(100)]
    assert all(-0.02 <= ahead <= 0.02 and 0.01 <= left <= 0.02 for ahead, left in centres)
    assert statistics.stdev(ahead for ahead, _ in centres) == pytest.approx(0.04 / math.sqrt(12.0), rel=0.2)


def test_the_turn_centre_wanders_as_the_base_turns(bay):
    floor = bay.bench_file(floor={"turn_ahead": "1 cm", "turn_left": "0 m", "turn_wander": "8 mm"}).floor
    centre = TurnCentre(floor, 1)
    places = [centre.turn(0.11)[0] for _ in range(40_000)]
    assert statistics.fmean(places) == pytest.approx(0.01, abs=0.0005)
    assert statistics.stdev(places) == pytest.approx(0.008, rel=0.05)
    rad_later = round(1.0 / 0.11)
    kept = statistics.correlation(places[:-rad_later], places[rad_later:])
    assert kept == pytest.approx(math.exp(-rad_later * TurnCentre.PORTION / TurnCentre.FORGETS), abs=0.03)


LIP = {"ends": [["2.5 m", "1 m"], ["2.5 m", "3 m"]]}


@pytest.mark.parametrize(("duty", "gets_over"), [(0.25, False), (0.35, True)])
def test_a_lip_takes_duty(bay, duty, gets_over):
    bench = bay.quiet_bench(lips=[LIP | {"duty": "30 %", "jolt": "0 deg"}])
    bay.run(bench, duty, duty, 8.0)
    assert (bench.x > 2.6) is gets_over
    assert bench.x > 2.48
    assert not bench.contacts()
    if not gets_over:
        assert bench.base.speed == 0.0
        counted = bench.encoders[0].absorb(bench.base.left_travel) * bench.robot.body.metres_per_count
        assert counted == pytest.approx(bench.x - 2.0, abs=0.01)


def test_a_lip_turns_the_robot_and_takes_half_its_speed(bay):
    bench = bay.quiet_bench(lips=[LIP | {"duty": "0 %", "jolt": "3 deg"}], motors={"lag": "1 s"})
    bench.drive(0.4, 0.4, bay.FOREVER)
    before = 0.0
    while bench.x < 2.5:
        before = bench.base.speed
        bench.advance(bench.now_ns + 10_000_000)
    assert bench.heading == pytest.approx(math.radians(6.0))  # both sides in one step
    assert bench.base.speed == pytest.approx(before / 2.0, rel=0.05)


def test_a_lip_is_only_where_it_is(bay):
    bench = bay.quiet_bench(lips=[{"ends": [["2.5 m", "3 m"], ["2.5 m", "4 m"]], "duty": "100 %"}])
    bay.run(bench, 0.3, 0.3, 8.0)
    assert bench.x > 2.6


def test_start_walls_and_marker_are_off_the_map_by_what_is_said(bay):
    off = {"start": "5 cm", "turned": "3 deg", "walls": "2 cm", "marker": "4 cm"}
    errand = bay.errand(
        walls={"east": [["6 m", "0 m"], ["6 m", "4 m"]]},
        zone={"x": "60 cm", "y": "60 cm", "width": "1 m", "depth": "1 m", "marker": ["10 cm", "60 cm"]},
    )
    file = bay.bench_file(off_the_map=off, walls=[[["4 m", "0 m"], ["4 m", "1 m"]]])
    benches = [Bench(file, bay.robot(), errand, seed) for seed in range(20)]
    for bench in benches:
        assert math.dist(bench.pose[:2], (2.0, 2.0)) == pytest.approx(0.05)
        assert bench.heading == pytest.approx(math.radians(3.0))
        assert math.dist(bench.solids.marker, (0.1, 0.6)) == pytest.approx(0.04)
        assert bench.solids.walls[0].x == pytest.approx(5.98)  # to the left of the way from its first end to its second
        assert bench.solids.walls[1].x == 4.0  # the bench's own stands where it says
    assert len({bench.pose for bench in benches}) == 20


def test_the_robot_is_not_set_down_in_a_wall(bay):
    walls = {"close": [["2.165 m", "1 m"], ["2.165 m", "3 m"]]}
    file = bay.bench_file(off_the_map={"start": "5 cm"})
    benches = [Bench(file, bay.robot(), bay.errand(walls=walls), seed) for seed in range(20)]
    assert not any(bench.is_blocked for bench in benches)
    assert any(bench.pose == (2.0, 2.0, 0.0) for bench in benches)
    assert any(bench.pose != (2.0, 2.0, 0.0) for bench in benches)


def test_no_constant_of_the_bench_is_one_of_the_filter_by_construction(bay):
    """Where the core has a guess of its own, the bench draws: it never has the very value, and lies on both sides.

    The drift is another process altogether: the bench's wanders about zero, the filter's goes where it likes.
    """
    usual, robot = BenchFile(bench="usual"), bay.robot()
    spans = [usual.floor.bias_scale, usual.camera.marker_noise]
    for (low, high), guess in zip(spans, [BIAS_DISTANCE, 0.02], strict=True):
        assert low < guess < high
    assert usual.heading.drift_time[0] > DRIFT_HOLDS
    seeds = range(1, 200)
    assert len({Orientation(usual, seed)._drift_time for seed in seeds}) == 199
    assert len({Sight(usual, robot.devices.camera, seed)._marker_noise for seed in seeds} | {0.02}) == 200
    scales = {stream(seed, "bias scale").uniform(*usual.floor.bias_scale) for seed in seeds}
    assert len(scales | {BIAS_DISTANCE}) == 200
    assert BiasField(usual.floor, 1).at(1.0, 2.0) != BiasField(usual.floor, 2).at(1.0, 2.0)
