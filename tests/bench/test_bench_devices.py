import threading

import pytest

from rover.bench.devices import Counts
from rover.bench.wired_hardware import BenchHardware
from rover.devices.protocols import Actuator, DriverContext, Sensor
from rover.devices.readings import DriveCommand, JawsCommand

SENSORS = ("counts", "heading", "range", "camera", "battery", "stop_input")


@pytest.mark.parametrize("family", SENSORS)
def test_reports_come_at_the_stated_rate_numbered_in_order(bay, family):
    bench = bay.quiet_bench()
    found = bay.reports(bench, family, 10.0)
    rate = bench.robot.devices.fitted()[family].rate
    assert len(found) == pytest.approx(10.0 * rate, abs=1)
    assert [reading.sequence for reading in found] == list(range(len(found)))
    assert sorted(reading.taken_ns for reading in found) == [reading.taken_ns for reading in found]


@pytest.mark.parametrize("family", SENSORS)
def test_sensors_obey_the_driver_interface(bay, family):
    bench = bay.quiet_bench()
    driver = bay.device(bench, family)
    assert isinstance(driver, Sensor)
    driver.close()
    driver.close()
    assert driver.poll(bay.seconds(1.0)) == ()


def test_a_report_tells_the_truth_of_the_time_it_was_taken(bay):
    """Polled only after a second, the counts still show the way at each of their own times."""
    bench = bay.quiet_bench()
    driver = bay.device(bench, "counts")
    bench.drive(0.5, 0.5, bay.FOREVER)
    for reading in driver.poll(bay.seconds(1.0)):
        way = reading.value.left * bench.robot.body.metres_per_count
        assert way == pytest.approx(0.3 * reading.taken_ns * 1e-9, abs=0.0002)


def test_a_stalled_link_delivers_late_and_together(bay):
    bench = bay.quiet_bench(link={"latency": "5 ms", "stall_every": "2 s", "stall_lasts": "500 ms"})
    counts, heading = bay.device(bench, "counts"), bay.device(bench, "heading")
    late, silent, together = [], 0, 0
    for step in range(1000):
        now_ns = step * 20_000_000
        arrived, angles = counts.poll(now_ns), heading.poll(now_ns)
        late += [now_ns - reading.taken_ns for reading in arrived]
        silent += not arrived
        together += len(arrived) > 10 and len(angles) > 4
    # 20 s hold about 8 stalls; in each 25 reports wait, and the longest waits for all of it.
    assert 3 <= together <= 14
    assert silent > 20 * together
    assert bay.seconds(0.48) <= max(late) <= bay.seconds(0.54)


def test_a_device_that_names_no_link_does_not_stall(bay):
    bench = bay.quiet_bench(link={"stall_every": "1 s", "stall_lasts": "1 s"})
    driver = bay.device(bench, "stop_input")
    assert all(driver.poll(step * 20_000_000) for step in range(1, 500))


def test_the_drive_obeys_until_the_command_expires(bay):
    bench = bay.quiet_bench()
    drive = bay.device(bench, "drive")
    assert isinstance(drive, Actuator)
    drive.apply(DriveCommand(0.5, 0.5, 1, bay.seconds(0.25)), 0)
    bench.advance(bay.seconds(1.0))
    assert bench.x == pytest.approx(2.0 + 0.3 * 0.25)
    drive.apply(DriveCommand(0.5, 0.5, 2, bay.FOREVER), bay.seconds(1.0))
    drive.close()
    bench.advance(bay.seconds(2.0))
    assert bench.x == pytest.approx(2.0 + 0.3 * 0.25)


def test_the_gripper_refuses_a_late_command_and_reports_its_position(bay):
    bench = bay.quiet_bench()
    gripper = bay.device(bench, "gripper")
    gripper.apply(JawsCommand(0.0, 1, 0), bay.seconds(0.1))
    assert gripper.poll(bay.seconds(0.5))[-1].value == (1.0, False)
    gripper.apply(JawsCommand(0.0, 2, bay.seconds(9.0)), bay.seconds(0.5))
    assert gripper.poll(bay.seconds(0.8))[-1].value.opening == pytest.approx(0.5)
    assert gripper.poll(bay.seconds(2.0))[-1].value.opening == pytest.approx(0.0)


@pytest.mark.parametrize(("feedback", "value"), [("switch", (None, False)), ("current", (None, False)), ("none", None)])
def test_the_gripper_reports_only_what_its_feedback_can_tell(bay, feedback, value):
    bench = bay.quiet_bench()
    bench.robot = bay.robot(gripper={"feedback": feedback})
    found = bay.reports(bench, "gripper", 0.1)
    assert (found[-1].value if found else None) == value


def test_a_simulated_driver_without_a_bench_says_so(bay):
    with pytest.raises(ValueError, match="rehearsal only"):
        Counts({}, DriverContext(bay.robot(), 1, {}))


def test_the_machine_behind_the_co_processor_moves_and_measures(bay):
    bench = bay.quiet_bench(objects=[bay.jar(2.15, 2.0)])
    machine = BenchHardware(bench)
    machine.servo(0.0011, 0)
    machine.drive(-0.5, 0.5, bay.seconds(1.0))
    state = machine.sample(bay.seconds(2.0))
    assert state.left == pytest.approx(-0.3 / bench.robot.body.metres_per_count, abs=1)
    assert state.heading == pytest.approx(2.5)
    assert state.holding
    machine.servo(None, bay.seconds(2.0))
    machine.drive(0.0, 0.0, bay.seconds(2.0))
    assert machine.sample(bay.seconds(2.1)).holding is None  # a servo that is let go of tells nothing
    assert machine.sample(bay.seconds(2.1)).volts == pytest.approx(12.6)


def test_threads_may_share_a_bench(bay):
    """Four threads advance and read at once; the run is the one that a single thread makes."""
    alone, shared = bay.quiet_bench(scatter={"amber": 3}), bay.quiet_bench(scatter={"amber": 3})
    for bench in (alone, shared):
        bench.drive(0.3, 0.4, bay.FOREVER)
    alone.advance(bay.seconds(5.0))

    def work() -> None:
        for step in range(0, 5001, 7):
            shared.advance(step * 1_000_000)
            shared.objects  # noqa: B018 - reading is the point

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    shared.advance(bay.seconds(5.0))
    assert shared.pose == alone.pose
