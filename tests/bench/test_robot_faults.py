"""What faults do to the robot's parts and on the floor, and when they come."""

import math

import pytest

from rover.bench.bench import Bench
from rover.bench.happenings import HAPPENINGS
from rover.devices.readings import DriveCommand, JawsCommand
from rover.files.fault_table import FAULTS


def speeds(bay, fault):
    """Return the two wheels' speeds, what they have rolled since 1 s, and the body's turn rate, with the fault on."""
    bench = bay.quiet_bench(faults=[f"at 1 s: {fault}"])
    bench.drive(0.4, 0.4, bay.FOREVER)
    bench.advance(bay.seconds(1.0))
    before = bench.base.left_travel
    bench.advance(bay.seconds(2.0))
    base = bench.base
    return base.left_speed, base.right_speed, base.left_travel - before, base.turn_rate


def test_a_motor_is_weak_dead_or_reversed(bay):
    usual = speeds(bay, "heading silent")[0]
    assert speeds(bay, "left motor weak by 30 %")[:2] == pytest.approx((0.7 * usual, usual))
    assert speeds(bay, "right motor dead")[:2] == pytest.approx((usual, 0.0), abs=1e-6)
    assert speeds(bay, "motors reversed")[:2] == pytest.approx((-usual, -usual))
    assert speeds(bay, "motors dead")[:2] == pytest.approx((0.0, 0.0), abs=1e-6)


def test_wheels_off_the_ground_are_counted_and_do_not_drive(bay):
    _, _, way, turn_rate = speeds(bay, "left wheels off the ground")
    assert way == pytest.approx(speeds(bay, "heading silent")[2], rel=0.01)
    assert turn_rate > 0.5
    bench = bay.quiet_bench(faults=["at 0 s: wheels off the ground"])
    bay.run(bench, 0.4, 0.4, 2.0)
    assert bench.pose == (2.0, 2.0, 0.0) or bench.x == pytest.approx(2.0, abs=0.01)


def test_a_drive_that_is_stuck_goes_on_past_its_command(bay):
    bench = bay.quiet_bench(faults=["at 1 s: drive stuck"])
    drive = bay.device(bench, "drive")
    for step in range(100):
        duty = 0.3 if step < 52 else 0.0
        drive.apply(DriveCommand(duty, duty, step, step * 20_000_000 + 250_000_000), step * 20_000_000)
    assert bench.base.speed > 0.1


@pytest.mark.parametrize("whom", ["drive", "link"])
def test_a_drive_that_hears_nothing_stays_where_it_is(bay, whom):
    bench = bay.quiet_bench(faults=[f"at 1 s: {whom} silent for 1 s"])
    drive, speeds = bay.linked_drive(bench), []
    for step in range(150):
        duty = 0.0 if step < 52 else 0.3
        drive.apply(DriveCommand(duty, duty, step, step * 20_000_000 + 250_000_000), step * 20_000_000)
        speeds.append(bench.base.speed)
    assert max(speeds[:100]) == 0.0
    assert speeds[-1] > 0.1


def test_a_link_that_garbles_commands_loses_its_share_of_them(bay):
    bench = bay.quiet_bench(faults=["at 0 s: link garbled by 40 %"])
    drive, heard = bay.linked_drive(bench), 0
    for step in range(1, 1001):
        duty = 0.001 * step
        drive.apply(DriveCommand(duty, duty, step, bay.FOREVER), step * 20_000_000)
        heard += bench.base.duties == (duty, duty)
    assert heard / 1000 == pytest.approx(0.6, abs=0.05)


@pytest.mark.parametrize("fault", ["silent", "rebooting for 1 s"])
def test_a_gripper_that_hears_nothing_keeps_its_jaws(bay, fault):
    bench = bay.quiet_bench(faults=[f"at 1 s: gripper {fault}"])
    gripper = bay.device(bench, "gripper")
    for step in range(90):
        gripper.apply(JawsCommand(1.0 if step < 52 else 0.0, step, bay.FOREVER), step * 20_000_000)
    assert bench.jaws_state.opening == 1.0


def test_what_is_held_slips(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.14, 2.0)], faults=["at 3 s: held jar slips"])
    bench.jaws(0.0)
    bench.advance(bay.seconds(2.0))
    assert bench.objects[0].held
    bench.advance(bay.seconds(3.0))
    assert not bench.objects[0].held


def test_an_obstacle_is_put_in_the_way_and_taken_away(bay):
    bench = bay.quiet_bench(faults=["at 1 s: obstacle ahead by 30 cm for 2 s", "at 5 s: obstacle at [2 m, 2 m]"])
    sonar = bay.device(bench, "range")
    far, near, far_again = (sonar.poll(bay.seconds(time))[-1].value.distance for time in (0.9, 2.0, 4.0))
    assert far == far_again
    assert near < 0.5
    bench.advance(bay.seconds(5.0))
    assert not bench.solids.posts  # the robot stands there


def test_stop_is_pressed(bay):
    bench = bay.quiet_bench(faults=["at 1 s: stop pressed"])
    bench.advance(bay.seconds(0.9))
    assert not bench.is_stop_pressed
    bench.advance(bay.seconds(1.0))
    assert bench.is_stop_pressed


def test_the_robot_does_not_start_where_the_map_says(bay):
    bench = bay.quiet_bench(faults=["at 0 s: robot moved by [10 cm, -20 cm]", "at 0 s: robot turned by 5 deg"])
    bench.advance(bay.seconds(0.1))
    assert bench.pose == pytest.approx((2.1, 1.8, math.radians(5.0)))


def test_wall_and_marker_stand_elsewhere(bay):
    errand = bay.errand(
        walls={"east": [["6 m", "0 m"], ["6 m", "4 m"]]},
        zone={"x": "60 cm", "y": "60 cm", "width": "1 m", "depth": "1 m", "marker": ["4 m", "2 m"]},
    )
    lines = ["at 1 s: wall east moved by [-3 m, 0 m]", "at 1 s: marker moved to [3 m, 2 m]"]
    bench = Bench(bay.bench_file(faults=lines), bay.robot(), errand, 1)
    camera, sonar = bay.device(bench, "camera"), bay.device(bench, "range")

    def seen(time):
        return [
            next(one.distance for one in camera.poll(bay.seconds(time))[-1].value.objects if one.kind == "marker"),
            sonar.poll(bay.seconds(time))[-1].value.distance,
        ]

    before, behind = seen(0.9), seen(2.0)
    assert before[0] - behind[0] == pytest.approx(1.0, abs=0.1)
    assert before[1] is None or before[1] - behind[1] == pytest.approx(3.0, abs=0.05)
    assert behind[1] == pytest.approx(1.0, abs=0.2)


def on_at(bay, line, entries, lasts=60.0):
    """Return the seconds at which a fault begins; ``entries`` are the times at which the state ``carry`` is entered."""
    bench = bay.quiet_bench(faults=[line])
    begins, was_on = [], False
    for tenth in range(round(lasts * 10)):
        bench.advance(bay.seconds(tenth / 10))
        if bench.schedule.waits_for_states:
            bench.note_entries({"carry": sum(time <= tenth / 10 for time in entries)})
        is_on = bench.schedule.of("heading").now is not None
        if is_on and not was_on:
            begins.append(tenth / 10 - 0.1)
        was_on = is_on
    return begins


@pytest.mark.parametrize(
    ("when", "begins"),
    [("", [5.0]), (" every time", [5.0, 12.0, 20.0, 31.0, 40.0]), (" every 2nd time", [12.0, 31.0])],
)
def test_a_fault_begins_on_entering_a_state(bay, when, begins):
    entered = [5.0, 12.0, 20.0, 31.0, 40.0]
    assert on_at(bay, f"on entering carry{when}: heading silent for 1 s", entered) == pytest.approx(begins, abs=0.11)


def test_a_fault_comes_at_random_at_its_rate_and_the_same_for_one_seed(bay):
    line = "at random every 4 s: heading silent for 1 s"
    begins = on_at(bay, line, [], 1000.0)
    assert len(begins) == pytest.approx(1000.0 / 5.0, rel=0.2)
    assert on_at(bay, line, [], 100.0) == [time for time in begins if time < 100.0]


def test_of_two_that_set_the_same_the_later_one_counts_and_each_ends_by_itself(bay):
    lines = ["at 1 s: left motor weak by 50 % for 3 s", "at 2 s: left motor weak by 20 % for 1 s"]
    bench = bay.quiet_bench(faults=lines)
    told = []
    for time in (0.5, 1.5, 2.5, 3.5, 4.5):
        bench.advance(bay.seconds(time))
        told.append(bench.schedule.robot.left_motor)
    assert told == pytest.approx([1.0, 0.5, 0.8, 0.5, 1.0])


def test_all_that_can_happen_is_in_the_table_and_the_other_way_round():
    assert {fault.happens for fault in FAULTS if fault.happens} == {*HAPPENINGS}
