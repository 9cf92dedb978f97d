"""What faults do to reports, as the drivers see them; on a wired line they have a file of their own."""

import itertools
import math
import statistics

import pytest
from pydantic import ValidationError

from rover.devices.readings import DriveCommand
from rover.errors import UserError


def test_a_jar_that_is_not_there_cannot_be_moved(bay):
    with pytest.raises(ValidationError, match="there is no jar 2; they are numbered 1 to 1"):
        bay.bench_file(scatter={"amber": 1}, faults=["at 1 s: jar 2 moved to [1 m, 1 m]"])


def test_a_bench_refuses_a_kind_that_the_errand_lacks(bay):
    with pytest.raises(UserError, match="amberr"):
        bay.quiet_bench(scatter={"amberr": 1})


@pytest.mark.parametrize(
    ("family", "fault"),
    [("heading", "heading silent"), ("counts", "link silent"), ("camera", "camera silent"), ("range", "range silent")],
)
def test_a_silent_device_reports_nothing_for_as_long_as_it_says(bay, family, fault):
    bench = bay.quiet_bench(faults=[f"at 1 s: {fault} for 1 s"])
    taken = [reading.taken_ns for reading in bay.reports(bench, family, 3.0)]
    assert taken
    assert not [time for time in taken if bay.seconds(1.0) <= time < bay.seconds(2.0)]
    assert max(taken) > bay.seconds(2.0)


def test_reports_lost_on_the_link_leave_a_gap_in_the_sequence(bay):
    bench = bay.quiet_bench(faults=["at 1 s: link silent for 1 s"])
    numbers = [reading.sequence for reading in bay.reports(bench, "counts", 3.0)]
    assert max(after - before for before, after in itertools.pairwise(numbers)) == 51


def test_counts_jump_and_stick(bay):
    bench = bay.quiet_bench(faults=["at 1 s: counts jump of 400", "at 2 s: counts stuck for 1 s"])
    driver = bay.device(bench, "counts")
    driver.poll(bay.seconds(0.98))
    bench.drive(0.0, 0.0, bay.FOREVER)
    assert driver.poll(bay.seconds(1.5))[-1].value == (400, 400, 0)
    driver.poll(bay.seconds(2.0))
    bay.run(bench, 0.5, 0.5, 0.9)
    assert driver.poll(bay.seconds(2.9))[-1].value == (400, 400, 0)


def test_other_faults_show_in_the_reports(bay):
    faults = ["at 0 s: range no echo", "at 0 s: stop input open", "at 1 s: battery low"]
    bench = bay.quiet_bench(faults=faults, walls=[[["3 m", "0 m"], ["3 m", "4 m"]]])
    drivers = {family: bay.device(bench, family) for family in ("range", "stop_input", "battery")}
    last = {family: driver.poll(bay.seconds(2.0))[-1].value for family, driver in drivers.items()}
    assert last["range"].distance is None
    assert last["stop_input"].closed is False
    assert last["battery"].volts == pytest.approx(0.78 * 12.6)


def test_a_frozen_camera_shows_what_it_saw_last(bay):
    bench = bay.quiet_bench(objects=[bay.jar(3.5, 2.0)], faults=["at 1 s: camera frozen"])
    camera = bay.device(bench, "camera")
    before = camera.poll(bay.seconds(0.95))[-1].value
    bay.run(bench, 0.3, 0.3, 1.0)
    assert camera.poll(bay.seconds(2.0))[-1].value == before


def test_a_jar_is_moved(bay):
    bench = bay.quiet_bench(objects=[bay.jar(3.0, 3.0)], faults=["at 1 s: jar 1 moved to [5 m, 1 m]"])
    bench.advance(bay.seconds(1.0))
    assert bench.objects[0][2:4] == (5.0, 1.0)


def values(bay, family, fault, lasts=4.0, device="", **changes):
    """Return (taken at, value) of what a device reports while the robot drives; the fault begins at 1 s."""
    bench = bay.quiet_bench(faults=[f"at 1 s: {device or family} {fault}"], **changes)
    bench.drive(0.3, 0.2, bay.FOREVER)
    return [(reading.taken_ns * 1e-9, reading.value) for reading in bay.reports(bench, family, lasts)]


def after(told, time=1.05):
    return [value for taken, value in told if taken > time]


WALL = {"walls": [[["3.5 m", "0 m"], ["3.5 m", "4 m"]]]}


@pytest.mark.parametrize("family", ["heading", "range", "battery", "gripper"])
def test_a_stuck_device_repeats_its_last_value(bay, family):
    told = values(bay, family, "stuck", **WALL)
    assert len({*after(told)}) == 1
    assert after(told)[0] == next(value for taken, value in reversed(told) if taken < 1.0)


def test_late_reports_come_in_order_and_are_of_their_own_time(bay):
    bench = bay.quiet_bench(faults=["at 1 s: heading late by 300 ms for 1 s"])
    driver, delays, numbers = bay.device(bench, "heading"), {}, []
    for now_ns in range(0, bay.seconds(3.0), 10_000_000):
        for reading in driver.poll(now_ns):
            delays[round(reading.taken_ns * 1e-9, 2)] = (now_ns - reading.taken_ns) * 1e-9
            numbers.append(reading.sequence)
    assert delays[0.95] == pytest.approx(0.0, abs=0.011)
    assert delays[1.5] == pytest.approx(0.3, abs=0.011)
    assert delays[2.1] == pytest.approx(0.2, abs=0.06)  # behind those before it on the line
    assert delays[2.5] == pytest.approx(0.0, abs=0.011)
    assert numbers == sorted(numbers)


@pytest.mark.parametrize("whom", ["heading", "link"])
def test_garbled_reports_are_refused_and_leave_gaps(bay, whom):
    bench = bay.quiet_bench(faults=[f"at 1 s: {whom} garbled by 30 %"])
    numbers = [one.sequence for one in bay.reports(bench, "heading", 21.0)]
    lost = [later - earlier - 1 for earlier, later in itertools.pairwise(numbers)]
    assert sum(lost) / (20 * 20) == pytest.approx(0.3, abs=0.08)  # 20 s at 20 Hz, or it would not be garbled


@pytest.mark.parametrize("whom", ["counts", "link"])
def test_a_reboot_is_silent_and_counts_from_zero(bay, whom):
    told = values(bay, "counts", "rebooting for 1 s", device=whom)
    assert not [taken for taken, _ in told if 1.0 <= taken < 2.0]
    before, behind = told[48][1], after(told, 2.0)
    assert before.boot == 0
    assert before.left > 100
    assert behind[0].boot == 1
    assert behind[0].left < 50
    assert behind[-1].left > 100


def test_the_motors_stand_while_the_one_who_drives_them_reboots(bay):
    bench = bay.quiet_bench(faults=["at 1 s: link rebooting for 1 s"])
    drive = bay.linked_drive(bench)
    for step in range(150):
        drive.apply(DriveCommand(0.3, 0.3, step, bay.FOREVER), step * 20_000_000)
        if step in (60, 95):
            assert bench.base.speed == 0.0
    assert bench.base.speed > 0.1


@pytest.mark.parametrize(
    ("fault", "side"),
    [
        ("counts stuck", (0, 0)),
        ("left counts stuck", (0, 1)),
        ("right counts reversed", (1, -1)),
        ("counts reversed", (-1, -1)),
        ("left counts doubled", (2, 1)),
        ("counts doubled", (2, 2)),
        ("right counts scaled by 0.5", (1, 0.5)),
    ],
)
def test_encoders_count_wrong_on_a_side_or_both(bay, fault, side):
    bench = bay.quiet_bench(faults=[f"at 1 s: {fault} for 1 s"])
    driver = bay.device(bench, "counts")
    bench.drive(0.3, 0.2, bay.FOREVER)
    counts = [driver.poll(bay.seconds(time))[-1].value for time in (1.0, 2.0, 3.0)]
    during, healthy = ([later[at] - earlier[at] for at in (0, 1)] for earlier, later in itertools.pairwise(counts))
    assert during == pytest.approx([healthy[at] * side[at] for at in (0, 1)], abs=2)


def test_counts_of_one_side_jump(bay):
    bench = bay.quiet_bench(faults=["at 1 s: left counts jump of -30"])
    assert bay.device(bench, "counts").poll(bay.seconds(1.5))[-1].value[:2] == (-30, 0)


def test_a_heading_is_reversed_biased_or_noisy(bay):
    true = [value for _, value in values(bay, "heading", "silent for 0 s")]
    turned = [value for _, value in values(bay, "heading", "reversed")]
    aside = [value for _, value in values(bay, "heading", "biased by 20 deg")]
    noisy = [value for _, value in values(bay, "heading", "noisy by 5 deg")]
    noise = [value.angle - one.angle for value, one in zip(noisy, true, strict=True)]
    assert turned[-1].angle == pytest.approx(-true[-1].angle)
    assert turned[-1].rate == pytest.approx(-true[-1].rate)
    assert aside[-1].angle - true[-1].angle == pytest.approx(math.radians(20.0))
    assert aside[3] == true[3]
    assert statistics.stdev(noise[25:]) == pytest.approx(math.radians(5.0), rel=0.4)
    assert not any(noise[:15])


def test_a_heading_comes_without_its_rate(bay):
    told = [value for _, value in values(bay, "heading", "without rate")]
    assert told[3].rate is not None
    assert told[-1].rate is None
    assert told[-1].angle != 0.0


def test_a_heading_drifts_from_where_it_is(bay):
    true = [value for _, value in values(bay, "heading", "silent for 0 s")]
    drifting = [value for _, value in values(bay, "heading", "drifting by 2 deg/s")]
    pairs = zip(drifting, true, strict=True)
    off = [math.degrees(math.remainder(value.angle - one.angle, math.tau)) for value, one in pairs]
    steps = {round(later - earlier, 6) for earlier, later in itertools.pairwise(off)}
    assert off[10] == pytest.approx(0.0)
    assert off[-1] > 1.0
    assert len(steps - {0.0}) <= 2  # the first may be shorter


@pytest.mark.parametrize("family", ["heading", "camera", "range"])
def test_what_lags_says_of_now_what_was_before(bay, family):
    world = {"objects": [bay.jar(3.0, 2.3)], **WALL}

    def told(fault):
        bench = bay.quiet_bench(faults=[f"at 1 s: {family} {fault}"], **world)
        driver, said = bay.device(bench, family), {}
        bench.drive(0.1, 0.13, bay.FOREVER)
        for hundredth in range(300):
            said |= {one.taken_ns: one.value for one in driver.poll(bay.seconds(0.01 * hundredth))}
        return said

    true, lagging = told("silent for 0 s"), told("lagging by 600 ms")
    assert [*lagging] == [*true]
    times = [*true]
    ago = sum(time <= times[-1] - bay.seconds(0.6) for time in times) - 1
    assert lagging[times[-1]] == true[times[ago]] != true[times[-1]]
    assert lagging[times[3]] == true[times[3]]


def test_a_range_finder_says_the_same_whatever_there_is(bay):
    bench = bay.quiet_bench(faults=["at 1 s: range says 12 cm"])  # no wall, nothing that echoes
    told = [reading.value.distance for reading in bay.reports(bench, "range", 2.0)]
    assert (told[0], told[-1]) == (None, pytest.approx(0.12))


@pytest.mark.parametrize(("fault", "holding"), [("says held", True), ("says empty", False), ("reversed", True)])
def test_a_gripper_lies_about_what_it_holds(bay, fault, holding):
    bench = bay.quiet_bench(faults=[f"at 1 s: gripper {fault}"])
    assert [bay.reports(bench, "gripper", 2.0)[at].value.holding for at in (0, -1)] == [False, holding]


def test_a_range_finder_says_too_much_or_nothing_or_anything(bay):
    def told(fault):
        bench = bay.quiet_bench(faults=[f"at 1 s: range {fault}"], **WALL)
        return [reading.value.distance for reading in bay.reports(bench, "range", 41.0)][25:]

    (true,) = {*told("silent for 0 s")}
    assert [*{*told("biased by 30 cm")}] == pytest.approx([true + 0.3])
    assert [*{*told("doubled")}] == pytest.approx([2.0 * true])
    assert {*told("no echo")} == {None}
    assert statistics.stdev(told("noisy by 5 cm")) == pytest.approx(0.05, rel=0.2)
    missing, stray = told("missing 40 %"), told("stray 40 %")
    assert missing.count(None) / len(missing) == pytest.approx(0.4, abs=0.1)
    assert sum(one != true for one in stray) / len(stray) == pytest.approx(0.4, abs=0.1)


def test_a_battery_sags_or_is_said_to(bay):
    def volts_and_speed(fault):
        bench = bay.quiet_bench(faults=[f"at 1 s: battery {fault}"])
        driver = bay.device(bench, "battery")
        bay.run(bench, 0.5, 0.5, 2.0)
        return driver.poll(bay.seconds(2.0))[-1].value.volts, bench.base.speed

    true, speed = volts_and_speed("silent for 0 s")
    assert volts_and_speed("biased by 2 V") == (pytest.approx(true + 2.0), speed)
    assert volts_and_speed("sagging by 2 V") == (pytest.approx(true - 2.0), pytest.approx(speed * (true - 2.0) / true))


def test_a_camera_is_in_the_dark_flickers_or_looks_aside(bay):
    def told(fault):
        bench = bay.quiet_bench(objects=[bay.jar(3.5, 2.0)], faults=[f"at 1 s: camera {fault}"])
        return [one.value.objects for one in bay.reports(bench, "camera", 21.0) if one.taken_ns > bay.seconds(1.05)]

    ((true,),) = {*told("silent for 0 s")}
    assert told("dark") == []
    assert [*{seen[0].bearing for seen in told("biased by 5 deg")}] == pytest.approx([true.bearing - math.radians(5.0)])
    flickering = told("flickering by 70 %")
    assert flickering.count(()) / len(flickering) == pytest.approx(0.7, abs=0.1)
    loose = [seen[0].bearing for seen in told("noisy by 3 deg") if seen]
    assert statistics.stdev(loose) == pytest.approx(math.radians(3.0), rel=0.25)


def test_a_gripper_says_the_opposite_is_jammed_or_slow(bay):
    def told(fault):
        bench = bay.quiet_bench(faults=[f"at 1 s: gripper {fault}"])
        driver = bay.device(bench, "gripper")
        driver.poll(bay.seconds(1.02))
        bench.jaws(0.0)
        return driver.poll(bay.seconds(1.2))[-1].value.opening

    healthy = told("silent for 0 s")
    assert 0.0 < healthy < 1.0
    assert told("reversed") == pytest.approx(1.0 - healthy)
    assert told("jammed") == 1.0
    assert 1.0 - told("slow by 50 %") == pytest.approx((1.0 - healthy) / 2.0)
