"""A driver that fails is tried again, with growing waits, and if need be made anew."""

from collections.abc import Mapping
from concurrent.futures import Future
from dataclasses import replace
from itertools import pairwise
from typing import ClassVar

import numpy
import pytest

from rover.core import StepRecord
from rover.devices.meanwhile import at_once
from rover.devices.readings import Detection, Detections, DriveCommand, JawsCommand, RangeValue, Reading, WheelCounts
from rover.session.driver import Changes, DriverAtWork, checked, wheels_at_rest
from rover.session.drivers import Drivers

from .own_drivers import Base, Told, as_module, context


class Counts(Base):
    def poll(self, now_ns):
        return []


@pytest.fixture(autouse=True)
def module():
    yield from as_module(globals())


class Hiccup(Base):
    """Fails at the times (ms) that its options name."""

    def __init__(self, options, context):
        super().__init__(options, context)
        self.sequence = 0

    def fail_at(self, now_ns):
        if now_ns // 1_000_000 in self.options["fails"]:
            raise OSError(5, "no answer")


class Flaky(Hiccup):
    def poll(self, now_ns):
        self.fail_at(now_ns)
        self.sequence += 1
        return [Reading(now_ns, self.sequence, RangeValue(1.0))]


class Reused(Base):
    """Gives out one mapping, and writes into it later."""

    value: ClassVar = {"pressed": True}

    def poll(self, now_ns):
        return [Reading(now_ns, now_ns, self.value)]


class Unreadable(Mapping):
    """A mapping as a wrapper round a device's registers may be: it is read when it is looked at."""

    def __getitem__(self, name):
        raise OSError(5, "no answer")

    def __iter__(self):
        return iter(("pressed",))

    def __len__(self):
        return 1


class FlakyCounts(Hiccup):
    def poll(self, now_ns):
        self.fail_at(now_ns)
        self.sequence += 1
        return [Reading(now_ns, self.sequence, WheelCounts(self.sequence, self.sequence))]


class FlakyDrive(Hiccup):
    def apply(self, command, now_ns):
        self.fail_at(now_ns)
        self.note(f"{command.left:g}")


class FlakyJaws(Hiccup):
    def apply(self, command, now_ns):
        self.fail_at(now_ns)
        self.note(f"{command.opening:g}")

    def poll(self, now_ns):
        return []


class OpensOnce(Flaky):
    openings = 0

    def __init__(self, options, context):
        OpensOnce.openings += 1
        if OpensOnce.openings > 1:
            raise KeyError("gone")
        super().__init__(options, context)


class Exits(Base):
    def poll(self, now_ns):
        raise SystemExit(0)


WHY = "its driver raised OSError: [Errno 5] no answer"


def polled(drivers, until_ms, every_ms=20):
    """Poll as a loop does; return what became of the drivers, by time (ms), and all readings."""
    changes, readings = {}, []
    for now_ms in range(0, until_ms, every_ms):
        readings += [reading for _, reading in drivers.poll(now_ms * 1_000_000)]
        if faults := drivers.faults():
            changes[now_ms] = faults
    return changes, readings


class TestAHiccupIsNoLoss:
    def flaky(self, name="Flaky", family="range", fails=(), meanwhile=at_once):
        made = context(**{family: {"driver": f"my_drivers:{name}", "fails": list(fails)}})
        return Drivers(replace(made, meanwhile=meanwhile), ())

    def test_a_driver_that_fails_once_is_back_after_a_tenth_of_a_second_as_it_was(self):
        drivers = self.flaky(fails=[200])
        before = drivers.made("range")
        changes, _ = polled(drivers, 1000)
        assert changes == {200: [("range", WHY)], 300: [("range", "")]}
        assert drivers.made("range") is before
        assert drivers.remarks == [f"range: lost once, brought back once ({WHY})"]

    def test_one_that_fails_again_is_closed_and_made_anew(self):
        drivers = self.flaky(fails=[200, 300])
        before = drivers.made("range")
        changes, _ = polled(drivers, 1000)
        assert changes == {200: [("range", WHY)], 500: [("range", "")]}
        assert drivers.made("range") is not before
        assert drivers.made("range").options == before.options
        assert Base.log[-2:] == [("Flaky", "closed"), ("Flaky", "made")]

    def test_waits_double_to_ten_seconds(self):
        class Tried:
            times: ClassVar[list[int]] = []

            def poll(self, now_ns):
                Tried.times.append(now_ns // 1_000_000)
                raise OSError

        at_work = DriverAtWork("range", Tried(), None, Changes())
        for now_ms in range(0, 60_000, 20):
            at_work.poll(now_ms * 1_000_000)
        waits = [later - earlier for earlier, later in pairwise(Tried.times)]
        assert waits[:7] == [100, 200, 400, 800, 1600, 3200, 6400]
        assert waits[7:] == [10_000] * 4

    def test_one_that_fails_soon_again_waits_longer_still_and_one_that_held_does_not(self):
        drivers = self.flaky(fails=[200, 400, 20_000])
        changes, _ = polled(drivers, 21_000)
        assert list(changes) == [200, 300, 400, 600, 20_000, 20_100]

    def test_readings_go_on_counting_where_a_new_driver_begins_afresh(self):
        drivers = self.flaky("FlakyCounts", "range", fails=[200, 300])
        changes, readings = polled(drivers, 1000)
        assert len(changes) == 2
        sequences = [reading.sequence for reading in readings if isinstance(reading.value, WheelCounts)]
        assert sequences == sorted(set(sequences))
        boots = [reading.value.boot for reading in readings if isinstance(reading.value, WheelCounts)]
        assert (boots[0], boots[-1]) == (0, 1)

    def test_what_a_driver_does_to_its_own_mapping_afterwards_is_not_seen(self):
        device = DriverAtWork("bumper", Reused({}, None), None, Changes())
        (reading,) = device.poll(1)
        Reused.value["pressed"] = None
        assert reading.value == {"pressed": True}

    def test_a_mapping_that_cannot_be_read_is_a_failure_of_the_driver(self, monkeypatch):
        monkeypatch.setattr(Reused, "value", Unreadable())
        changes = Changes()
        assert DriverAtWork("bumper", Reused({}, None), None, changes).poll(1) == ()
        assert changes.faults == [("bumper", "its driver raised OSError: [Errno 5] no answer")]

    def test_one_that_cannot_be_made_any_more_is_tried_on(self):
        OpensOnce.openings = 0
        drivers = self.flaky("OpensOnce", fails=[200, 300])
        changes, _ = polled(drivers, 5000)
        assert changes == {200: [("range", WHY)]}
        assert OpensOnce.openings == 5
        assert drivers.remarks == [f"range: lost once, brought back 0 times, away at the end ({WHY})"]

    def test_a_new_driver_that_takes_its_time_holds_nobody_up(self):
        openings = []

        def open_later(make):
            openings.append((make, Future()))
            return openings[-1][1]

        drivers = self.flaky(fails=[200, 300], meanwhile=open_later)
        assert polled(drivers, 3000)[0] == {200: [("range", WHY)]}
        ((make, opening),) = openings
        opening.set_result(make())
        drivers.poll(3_000_000_000)
        assert drivers.faults() == [("range", "")]

    def test_one_that_is_made_after_the_end_is_closed(self):
        late = Future()
        drivers = self.flaky(fails=[200, 300], meanwhile=lambda make: late)
        polled(drivers, 1000)
        drivers.close()
        late.set_result(Told({}, None))
        assert Base.log[-2:] == [("Told", "made"), ("Told", "closed")]

    def test_a_driver_that_calls_for_the_end_of_the_program_is_lost_like_any_other(self):
        assert polled(self.flaky("Exits"), 20)[0] == {0: [("range", "its driver raised SystemExit: 0")]}


class TestAnActuatorThatFails:
    def told(self, drivers, at_ms, is_stopped=False):
        """Take a step as a host does; return the causes to stop."""
        now_ns = at_ms * 1_000_000
        drivers.poll(now_ns)
        causes = [stop.value for stop in drivers.stops()]
        drive, jaws = DriveCommand(0.0 if is_stopped else 0.5, 0.0, at_ms, 1), JawsCommand(0.25, at_ms, 1)
        drivers.apply(StepRecord(now_ns, drive, jaws, "", (), None), is_stopped=is_stopped)
        return causes

    def test_wheels_are_told_zero_and_a_stop_is_due_when_it_fails_and_when_it_is_back(self):
        drivers = Drivers(context(drive={"driver": "my_drivers:FlakyDrive", "fails": [200, 300]}), ())
        causes = {at_ms: why for at_ms in range(0, 1000, 20) if (why := self.told(drivers, at_ms, at_ms > 200))}
        assert causes == {220: [f"drive: {WHY}"], 500: ["drive: its driver is back at work"]}
        log = [what for who, what in Base.log if who == "FlakyDrive"]
        assert log[:11] == ["made", *["0.5"] * 10]
        assert set(log[11:]) == {"closed", "made", "0"}

    def test_zero_is_the_last_that_wheels_hear_that_can_still_hear(self):
        class OnceDeaf:
            heard: ClassVar[list[float]] = []

            def apply(self, command, now_ns):
                if command.left == 0.5:
                    raise OSError
                self.heard.append(command.left)

        at_work = DriverAtWork("drive", OnceDeaf(), None, Changes(), wheels_at_rest)
        at_work.tell(DriveCommand(0.5, 0.5, 1, 1), 0, False)
        assert OnceDeaf.heard == [0.0]

    def test_jaws_that_are_back_move_only_once_the_stop_has_ended(self):
        drivers = Drivers(context(gripper={"driver": "my_drivers:FlakyJaws", "fails": [200]}), ())
        causes = {at_ms: why for at_ms in range(0, 1000, 20) if (why := self.told(drivers, at_ms, at_ms > 200))}
        assert causes == {220: [f"gripper: {WHY}"], 300: ["gripper: its driver is back at work"]}
        assert Base.log.count(("FlakyJaws", "0.25")) == 10
        self.told(drivers, 1000, is_stopped=False)
        self.told(drivers, 1020, is_stopped=True)
        assert Base.log.count(("FlakyJaws", "0.25")) == 12

    def test_jaws_that_only_fail_to_report_are_never_closed_for_it(self):
        class Mute(FlakyJaws):
            def poll(self, now_ns):
                raise OSError

        jaws = Mute({"fails": []}, None)
        at_work = DriverAtWork("gripper", jaws, lambda old: at_once(lambda: Mute({"fails": []}, None)), Changes())
        for now_ms in range(0, 5000, 20):
            at_work.poll(now_ms * 1_000_000)
            at_work.tell(JawsCommand(0.25, now_ms, 1), now_ms, False)
        assert at_work.driver is jaws
        assert ("Mute", "closed") not in Base.log
        assert Base.log.count(("Mute", "0.25")) == 250


@pytest.mark.parametrize(
    ("reported", "due"),
    [
        (RangeValue(numpy.float32(0.1)), RangeValue(float(numpy.float32(0.1)))),
        (WheelCounts(numpy.int64(3), numpy.int32(4)), WheelCounts(3, 4)),
        ({"pressed": numpy.bool_(True), "depth": numpy.float64(0.5)}, {"pressed": True, "depth": 0.5}),
        (
            Detections((Detection("amber", numpy.float32(0.5), 1.0, 0.1, 0.1, 0.2),)),
            Detections((Detection("amber", 0.5, 1.0, 0.1, 0.1, 0.2),)),
        ),
        (RangeValue(None), RangeValue(None)),
    ],
)
def test_numbers_of_an_array_library_become_pythons_own(reported, due):
    """With those of single precision the core would reckon in single precision, and the record could not hold them."""
    value = checked(Reading(0, 1, reported)).value
    assert (value, repr(value)) == (due, repr(due))


def test_each_try_to_bring_a_driver_back_is_told():
    changes = Changes()
    at_work = DriverAtWork("range", Flaky({"fails": [0, 100, 300]}, None), None, changes)
    for ms in (0, 100, 300, 700):
        at_work.poll(ms * 1_000_000)
    assert changes.tries == [
        "range: try 1 to bring it back failed: OSError: [Errno 5] no answer",
        "range: try 2 to bring it back failed: OSError: [Errno 5] no answer",
        "range: brought back at try 3",
    ]
