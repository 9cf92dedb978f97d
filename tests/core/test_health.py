"""Which reports are believed, and what a device's health makes of the wheels."""

import math

import pytest

from rover.core import StepReadings
from rover.devices.readings import (
    BatteryValue,
    Detection,
    Detections,
    Fault,
    HeadingValue,
    JawsValue,
    RangeValue,
    Reading,
    WheelCounts,
)
from rover.events import Health, HealthChange, HoldBack
from rover.stopping import LATCHED

NAN, INF = math.nan, math.inf


def changes(records, device):
    found = [event for record in records for event in record.events if isinstance(event, HealthChange)]
    return [event.health for event in found if event.device == device]


def causes(records):
    return [event.cause for record in records for event in record.events if isinstance(event, HoldBack)]


class TestHealth:
    def test_every_fitted_device_is_overdue_until_it_first_reports(self, stepping):
        at_work = stepping()
        at_work.silent = {"camera"}
        records = at_work.steps(0.1)
        assert changes(records, "heading") == [Health.OK]
        assert changes(records, "camera") == []
        assert not at_work.core.known.signals.camera_ok

    @pytest.mark.parametrize(
        ("device", "seconds"), [("counts", 0.2), ("heading", 0.3), ("camera", 0.6), ("battery", 3.0), ("range", 0.3)]
    )
    def test_it_is_overdue_after_its_stated_age(self, stepping, device, seconds):
        at_work = stepping()
        at_work.steps(1.0)
        at_work.silent = {device}
        assert changes(at_work.steps(seconds), device) == []
        assert changes(at_work.steps(0.06), device) == [Health.OVERDUE]
        at_work.silent = set()
        assert changes([at_work.step()], device) == [Health.OK]

    def test_a_driver_that_gave_up_is_faulty_until_it_reports_again(self, stepping):
        at_work = stepping()
        at_work.steps(0.5)
        record = at_work.step(faults=[("camera", "its driver raised OSError: gone")])
        assert HealthChange("camera", Health.FAULTY, "its driver raised OSError: gone") in record.events
        at_work.silent = {"camera"}
        at_work.steps(1.0)
        assert not at_work.core.known.signals.camera_ok
        at_work.silent = set()
        assert changes([at_work.step()], "camera") == [Health.OK]

    def test_reports_are_counted_with_the_time_they_were_taken(self, stepping):
        at_work = stepping()
        at_work.steps(1.0)
        assert at_work.core.known.signals.camera_n == 50
        assert at_work.core.known.signals.camera_t == 1_000_000_000


class TestBelief:
    """A report that is impossible or out of order is counted and left out."""

    @pytest.mark.parametrize(
        ("device", "value"),
        [
            ("heading", HeadingValue(NAN, 0.0, 3)),
            ("heading", HeadingValue(0.0, INF, 3)),
            ("range", RangeValue(NAN)),
            ("range", RangeValue(-INF)),
            ("battery", BatteryValue(NAN, 0.0)),
            ("battery", BatteryValue(12.0, NAN)),
            ("battery", BatteryValue(1000.0, 0.5)),
            ("battery", BatteryValue(-3.0, 0.5)),
            ("battery", BatteryValue(12.0, 1e9)),
            ("range", RangeValue(-0.01)),
            ("range", RangeValue(4.5)),
            ("heading", HeadingValue(1e300, 0.0, 3)),
            ("heading", HeadingValue(0.0, 50.0, 3)),
            ("gripper", JawsValue(40.0, False)),
            ("camera", Detections((Detection("amber", 0.0, -1.0, 0.01, 0.02, 0.1),))),
            ("camera", Detections((Detection("amber", 7.0, 1.0, 0.01, 0.02, 0.1),))),
            ("gripper", JawsValue(NAN, False)),
            ("camera", Detections((Detection("amber", NAN, 1.0, 0.01, 0.02, 0.1),))),
            ("camera", Detections((Detection("amber", 0.0, INF, 0.01, 0.02, 0.1),))),
        ],
    )
    def test_what_cannot_be(self, stepping, device, value):
        at_work = stepping()
        at_work.steps(0.5)
        reports = getattr(at_work.core.known.signals, f"{device}_n")
        at_work.steps(0.5, **{device: value})
        assert at_work.core.refusals["impossible"] == 25
        assert getattr(at_work.core.known.signals, f"{device}_n") == reports
        assert all(math.isfinite(part) for part in at_work.core.pose)

    @pytest.mark.parametrize(("sigma", "believed"), [(5.8, True), (0.2, False), (INF, False), (NAN, False)])
    def test_a_jar_near_the_horizon_may_seem_as_far_as_it_is_unsure(self, stepping, sigma, believed):
        at_work = stepping()
        at_work.steps(0.5)
        at_work.step(camera=Detections((Detection("amber", 0.0, 11.0, 0.01, sigma, 0.02),)))
        assert at_work.core.refusals["impossible"] == (not believed)

    @pytest.mark.parametrize("device", ["heading", "range", "battery", "camera"])
    def test_a_value_of_another_type(self, stepping, device):
        at_work = stepping()
        at_work.steps(0.5)
        change, *_ = at_work.step(**{device: 2.0}).events
        assert (change.device, change.health) == (device, Health.FAULTY)

    @pytest.mark.parametrize("device", ["battery", "range", "camera"])
    def test_a_fault_that_the_device_tells_is_its_health_until_a_value_comes(self, stepping, device):
        at_work = stepping()
        at_work.steps(0.5)
        usual = at_work.values[device]
        told = at_work.step(**{device: Fault("the board's own supply is too low")})
        assert told.events[0] == HealthChange(device, Health.FAULTY, "the board's own supply is too low")
        assert at_work.core.refusals["impossible"] == 0
        at_work.step(**{device: usual})
        assert getattr(at_work.core.known.signals, f"{device}_ok")

    @pytest.mark.parametrize(
        "counts", [WheelCounts(NAN, 0), WheelCounts(0, INF), WheelCounts(1.5, 0), WheelCounts(10**400, 0)]
    )
    def test_counts_that_are_no_whole_numbers(self, stepping, counts):
        at_work = stepping()
        at_work.steps(0.5)
        before = at_work.core.pose
        at_work.step(counts=counts)
        assert at_work.core.refusals["impossible"] == 1
        assert at_work.core.pose == pytest.approx(before, abs=0.01)

    def send(self, at_work, taken_ns, sequence):
        """Send one frame with the next step's time as the only reading."""
        at_work.now = round(at_work.now + 0.02, 9)
        at_work.core.step(
            StepReadings(round(at_work.now * 1e9), [("range", Reading(taken_ns, sequence, RangeValue(1.0)))])
        )

    @pytest.mark.parametrize(
        ("taken_after_ns", "sequence", "believed"),
        [
            (0, 100, True),
            (500_000, 100, True),
            (5_000_000_000, 100, False),
            (-100_000_000, 100, True),
            (0, 24, False),
            (0, 3, False),
        ],
        ids=["now", "clock slack", "from the future", "late", "twice the same sequence", "an older sequence"],
    )
    def test_order_and_time(self, stepping, taken_after_ns, sequence, believed):
        at_work = stepping()
        at_work.steps(0.5)
        self.send(at_work, 520_000_000 + taken_after_ns, sequence)
        assert at_work.core.known.signals.range_n == 25 + believed
        assert at_work.core.refusals["impossible"] == (not believed)

    def test_numbers_that_begin_again_are_believed_from_the_second_on(self, stepping):
        """A driver made anew counts from 1; and one wrong number does not lock the device out."""
        at_work = stepping()
        at_work.steps(0.5)
        at_work.sequences["range"] = 10**12
        at_work.step()
        at_work.sequences["range"] = 3
        before = at_work.core.known.signals.range_n
        at_work.steps(1.0)
        assert at_work.core.known.signals.range_n == before + 49
        assert at_work.core.refusals["impossible"] == 1

    def test_an_echo_that_waited_too_long_tells_nothing_of_now(self, stepping):
        at_work = stepping()
        at_work.steps(0.5)
        self.send(at_work, 100_000_000, 100)
        assert at_work.core.known.signals.range_distance == 4.0

    def test_a_device_the_robot_lacks_is_not_listened_to(self, stepping):
        at_work = stepping()
        at_work.core.step(StepReadings(20_000_000, [("sonar", Reading(0, 0, RangeValue(1.0)))]))
        assert at_work.core.refusals["impossible"] == 0

    def test_a_step_back_in_time_moves_nothing(self, stepping):
        at_work = stepping()
        at_work.steps(1.0)
        before = at_work.core.pose
        at_work.now = 0.5
        record = at_work.step()
        assert record.now_ns == 520_000_000
        assert at_work.core.pose == before


class TestBlindWheels:
    @pytest.fixture
    def moving(self, stepping, creeping):
        at_work = stepping(creeping)
        at_work.steps(2.0)
        return at_work

    def moves(self, at_work, seconds):
        return max(abs(record.drive.left) for record in at_work.steps(seconds)[-10:]) > 0.0

    def test_counts_may_be_missing_for_a_time(self, moving):
        moving.silent = {"counts"}
        assert self.moves(moving, 0.8)
        assert not self.moves(moving, 1.5)

    def test_heading_may_be_missing_for_longer(self, moving):
        moving.silent = {"heading"}
        assert self.moves(moving, 10.0)
        assert not self.moves(moving, 12.0)

    def test_both_may_not(self, moving):
        moving.silent = {"counts", "heading"}
        records = moving.steps(1.0)
        assert "counts and heading missing" in causes(records)
        assert records[-1].drive[:2] == (0.0, 0.0)

    def test_a_silent_stop_input_stands_the_wheels_still(self, moving):
        """Normally closed: what cannot be heard is not taken for closed."""
        moving.silent = {"stop_input"}
        records = moving.steps(1.5)
        assert "stop input missing" in causes(records)
        assert records[-1].drive[:2] == (0.0, 0.0)
        assert moving.core.stop.phase not in LATCHED

    def test_the_camera_is_not_needed_for_driving(self, moving):
        moving.silent = {"camera", "range", "battery", "gripper"}
        assert self.moves(moving, 5.0)

    def test_it_goes_on_when_they_are_back(self, moving):
        moving.silent = {"counts", "heading"}
        moving.steps(3.0)
        moving.silent = set()
        assert self.moves(moving, 2.0)


class TestDriversThatFail:
    def test_a_device_is_faulty_while_its_driver_is_away_and_ok_again_when_it_is_back(self, stepping):
        at_work = stepping()
        at_work.steps(0.5)
        why = "its driver raised OSError: no answer"
        at_work.silent = {"range"}
        lost = at_work.step(faults=[("range", why)])
        assert HealthChange("range", Health.FAULTY, why) in lost.events
        assert changes(at_work.steps(0.2), "range") == []
        back = at_work.step(faults=[("range", "")])
        assert HealthChange("range", Health.OK, "") in back.events
        assert at_work.core.known.signals.range_ok

    def test_one_without_reports_is_told_of_both_ways(self, stepping):
        at_work = stepping()
        lost, back = at_work.step(faults=[("drive", "no bus")]), at_work.step(faults=[("drive", "")])
        assert changes([lost, back], "drive") == [Health.FAULTY, Health.OK]

    def test_the_run_record_is_a_signal_which_is_yes_from_the_start(self, stepping):
        at_work = stepping()
        signals = at_work.core.known.signals
        at_work.step()
        assert signals.record_ok
        lost = at_work.step(faults=[("record", "the disk is full")])
        assert HealthChange("record", Health.FAULTY, "the disk is full") in lost.events
        assert not signals.record_ok
        back = at_work.step(faults=[("record", "")])
        assert HealthChange("record", Health.OK, "") in back.events
        assert signals.record_ok
