import itertools
import math
from statistics import fmean, stdev

import pytest

from rover.bench.bench import Bench

AHEAD = 0.10
HEIGHT = 0.22


def frames(bay, objects, lasts=1.0, seed=1, **changes):
    bench = bay.quiet_bench(seed, objects=objects, **changes)
    return [reading.value.objects for reading in bay.reports(bench, "camera", lasts)]


@pytest.mark.parametrize("left", [0.3, -0.3, 0.0])
def test_a_jar_is_seen_at_its_bearing_left_positive_and_its_ground_distance(bay, left):
    (seen,) = frames(bay, [bay.jar(3.1, 2.0 + left, "teal")])[0]
    assert seen.kind == "teal"
    assert seen.bearing == pytest.approx(math.atan2(left, 1.0))
    assert seen.distance == pytest.approx(math.hypot(1.0, left))


def test_the_size_is_the_share_of_the_frames_width(bay):
    (seen,) = frames(bay, [bay.jar(3.1, 2.0)])[0]
    assert seen.size == pytest.approx(0.05 / (2 * math.tan(math.radians(30)) * math.hypot(1.0, HEIGHT)), rel=1e-4)


@pytest.mark.parametrize(
    ("ahead", "left", "seen"),
    [(2.4, 0, 1), (2.6, 0, 0), (1.0, 0.57, 1), (1.0, 0.59, 0), (-1.0, 0, 0), (0.21, 0, 1), (0.19, 0, 0), (0.04, 0, 0)],
)
def test_sight_has_its_limits_and_the_lower_edge_of_the_picture_is_one(bay, ahead, left, seen):
    """A lid 16 cm below the lens is seen from 16 cm / tan(15 deg + 23.4 deg) = 20.2 cm on."""
    assert len(frames(bay, [bay.jar(2.0 + AHEAD + ahead, 2.0 + left)])[0]) == seen


@pytest.mark.parametrize(("camera", "seen"), [({"ahead": "-8 cm"}, [0.22]), ({"ahead": "10 cm"}, [])])
def test_a_held_jar_is_seen_where_the_jaws_are_if_the_picture_has_room_for_it(bay, camera, seen):
    robot = bay.robot(camera={"driver": "simulated", **camera})
    bench = Bench(bay.bench_file(objects=[bay.jar(2.15, 2.0)]), robot, bay.errand(), 1)
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    objects = bay.reports(bench, "camera", 0.2)[-1].value.objects
    assert [one.distance for one in objects] == pytest.approx(seen)
    assert bench.jaws_state.held is not None


def test_a_jar_close_behind_another_is_hidden(bay):
    assert len(frames(bay, [bay.jar(3.1, 2.0), bay.jar(3.2, 2.0)])[0]) == 1
    assert len(frames(bay, [bay.jar(3.1, 2.0), bay.jar(3.2, 2.1)])[0]) == 2
    # The camera looks over a lid: the ground shows again from distance * 22 / (22 - 6) on.
    assert len(frames(bay, [bay.jar(3.1, 2.0), bay.jar(3.5, 2.0)])[0]) == 2


def test_walls_and_posts_hide_a_jar(bay):
    hidden = {"walls": [[["2.6 m", "1.9 m"], ["2.6 m", "2.1 m"]]]}
    beside = {"walls": [[["2.6 m", "2.1 m"], ["2.6 m", "2.3 m"]]]}
    post = {"obstacles": [{"x": "2.6 m", "y": "2 m"}]}
    assert [len(frames(bay, [bay.jar(3.1, 2.0)], **solid)[0]) for solid in (hidden, beside, post)] == [0, 1, 0]


def test_pitch_becomes_an_error_of_distance_that_grows_with_distance(bay):
    for ahead in (0.5, 1.5):
        found = frames(bay, [bay.jar(2.0 + AHEAD + ahead, 2.0)], 60.0, camera={"pitch_noise": "0.5 deg"})
        distances = [seen.distance for frame in found for seen in frame]
        expected = (ahead**2 + HEIGHT**2) / HEIGHT * math.radians(0.5)
        assert stdev(distances) == pytest.approx(expected, rel=0.12)
        assert fmean(distances) == pytest.approx(ahead, abs=expected / 2)


def test_speeding_up_makes_things_seem_nearer(bay):
    bench = bay.quiet_bench(objects=[bay.jar(3.6, 2.0)], camera={"dip": "1 deg"}, motors={"lag": "200 ms"})
    camera = bay.device(bench, "camera")
    bench.drive(0.5, 0.5, bay.FOREVER)
    (seen,) = camera.poll(bay.seconds(0.1))[0].value.objects
    assert seen.distance < (3.6 - bench.x - AHEAD) * 0.9


def test_blur_halves_the_chance_at_its_turn_rate(bay):
    jars = [bay.jar(2.0 + math.cos(angle), 2.0 + math.sin(angle)) for angle in range(6)]
    bench = bay.quiet_bench(objects=jars, camera={"blur_at": "60 deg/s"})
    duty = math.radians(60) * 0.24 / 2 / 0.6
    bench.drive(-duty, duty, bay.FOREVER)
    sharp = bay.quiet_bench(objects=jars)
    sharp.drive(-duty, duty, bay.FOREVER)
    seen, all_ = (sum(len(r.value.objects) for r in bay.reports(each, "camera", 120.0)) for each in (bench, sharp))
    assert seen / all_ == pytest.approx(0.5, abs=0.06)


def test_flicker_takes_frames_in_bursts(bay):
    flicker = {"flicker": "100 %", "flicker_every": "1 s", "flicker_lasts": "1 s"}
    found = [bool(frame) for frame in frames(bay, [bay.jar(3.1, 2.0)], 200.0, camera=flicker)]
    changes = sum(one != other for one, other in itertools.pairwise(found))
    # Half of 2000 frames are lost, in about 100 bursts: independent losses would make 1000 changes.
    assert 800 <= sum(found) <= 1200
    assert 120 <= changes <= 260


def test_missed_and_false_detections_have_their_share(bay):
    missed = sum(not frame for frame in frames(bay, [bay.jar(3.1, 2.0)], 200.0, camera={"missed": "10 %"}))
    false = [frame[0] for frame in frames(bay, [], 200.0, camera={"false": "10 %"}) if frame]
    # 200 of 2000 on average, with a standard deviation of 13.
    assert 150 <= missed <= 250
    assert 150 <= len(false) <= 250
    assert {seen.kind for seen in false} == {"amber", "teal", "violet"}


def test_a_frame_comes_late_with_the_time_it_was_taken(bay):
    bench = bay.quiet_bench(camera={"latency": "90 ms"})
    camera = bay.device(bench, "camera")
    assert camera.poll(bay.seconds(0.18)) == ()
    (reading,) = camera.poll(bay.seconds(0.19))
    assert reading.taken_ns == bay.seconds(0.1)
