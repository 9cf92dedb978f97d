import pytest

REACH = 0.14


def grip(bay, seed=1, **changes):
    """Return a bench on which the robot has just closed its jaws on a jar that stands between them."""
    bench = bay.quiet_bench(seed, objects=[bay.jar(2.0 + REACH + 0.01, 2.01)], **changes)
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    return bench


def test_a_jar_between_the_jaws_is_held_and_carried(bay):
    bench = grip(bay)
    assert bench.objects[0].held
    assert bench.objects[0][2:4] == pytest.approx((2.0 + REACH, 2.0))
    bay.run(bench, 0.5, 0.5, 1.0)
    assert bench.objects[0][2:4] == pytest.approx((bench.x + REACH, bench.y))


@pytest.mark.parametrize(("ahead", "left", "enters"), [(0.0, 0.029, True), (0.039, 0.0, True), (0.0, 0.035, False)])
def test_only_what_stands_between_the_jaws_is_gripped(bay, ahead, left, enters):
    bench = bay.quiet_bench(objects=[bay.jar(2.0 + REACH + ahead, 2.0 + left)])
    bench.jaws(0.0)
    bench.advance(bay.seconds(1.0))
    assert bench.objects[0].held is enters


def test_driving_up_to_a_jar_takes_it_between_the_open_jaws(bay):
    for left, taken in ((0.028, True), (-0.028, True), (0.04, False)):
        bench = bay.quiet_bench(objects=[bay.jar(2.5, 2.0 + left)])
        bay.run(bench, 0.5, 0.5, (0.5 - REACH) / 0.3)
        bench.jaws(0.0)
        bench.advance(bench.now_ns + bay.seconds(1.0))
        assert bench.objects[0].held is taken
        assert (bench.objects[0].x == 2.5) is False or not taken


def test_opening_releases_the_jar_where_the_jaws_are(bay):
    bench = grip(bay)
    bay.run(bench, 0.5, 0.5, 1.0)
    bench.jaws(1.0)
    bench.advance(bench.now_ns + bay.seconds(1.0))
    assert bench.objects[0] == ("1", "amber", pytest.approx(bench.x + REACH), pytest.approx(2.0), False, False)


def test_limp_jaws_hold_nothing(bay):
    bench = grip(bay)
    bench.jaws(None)
    bench.advance(bench.now_ns + bay.seconds(0.1))
    assert not bench.objects[0].held


def test_a_missed_grip_knocks_the_jar_a_few_centimetres_away(bay):
    bench = grip(bay, gripper={"missed": "100 %", "pushed": ["1 cm", "5 cm"]})
    (jar,) = bench.objects
    assert not jar.held
    assert 0.16 + 0.025 + 0.01 <= jar.x - 2.0 <= 0.16 + 0.025 + 0.05
    assert bench.jaws_state.opening == pytest.approx(0.0)


def test_grips_are_missed_as_often_as_the_file_says(bay):
    missed = sum(grip(bay, seed, gripper={"missed": "20 %"}).objects[0].held is False for seed in range(200))
    # 40 of 200 on average, with a standard deviation of 5.7.
    assert 23 <= missed <= 57


def test_a_dropped_jar_stays_behind(bay):
    bench = grip(bay, gripper={"dropped": "100 %", "dropped_after": "1 s"})
    bay.run(bench, -0.5, -0.5, 2.0)
    assert not bench.objects[0].held
    assert bench.objects[0].x > bench.x + REACH + 0.2


def test_a_drop_is_rare_unless_the_file_says_otherwise(bay):
    benches = [grip(bay, seed, gripper={"dropped": "10 %", "dropped_after": "1 s"}) for seed in range(200)]
    for bench in benches:
        bench.advance(bay.seconds(3.0))
    # 20 of 200 on average, with a standard deviation of 4.2.
    assert 7 <= sum(not bench.objects[0].held for bench in benches) <= 33


def deliver(bay):
    """Return a bench on which a jar has been set down in the zone, and the robot has backed away."""
    errand = bay.errand(start={"x": "46 cm", "y": "60 cm", "heading": "0 deg"})
    bench = type(bay.quiet_bench())(bay.bench_file(objects=[bay.jar(0.6, 0.6)]), bay.robot(), errand, 1)
    for opening in (0.0, 1.0):
        bench.jaws(opening)
        bench.advance(bench.now_ns + bay.seconds(1.0))
    bench.contacts()
    bay.run(bench, -0.3, -0.3, 1.0)
    return bench


def test_setting_down_and_backing_away_touches_nothing(bay):
    bench = deliver(bay)
    assert bench.objects[0][2:4] == pytest.approx((0.6, 0.6))
    assert not bench.contacts()


def test_running_into_a_jar_is_a_contact_at_the_fastest_speed(bay):
    bench = deliver(bay)
    bench.jaws(0.0)
    bench.advance(bench.now_ns + bay.seconds(1.0))
    bay.run(bench, 0.3, 0.3, 2.0)
    assert bench.contacts() == [("1", pytest.approx(bench.base.speed, rel=0.01))]
    assert not bench.contacts()
