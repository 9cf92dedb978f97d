"""Drivers at work: made by name, polled and told, each fault kept to its own device."""

from abc import ABC, abstractmethod

import pytest

from rover.core import StepRecord
from rover.devices.readings import DriveCommand, JawsCommand, RangeValue, Reading
from rover.devices.registry import LoadError
from rover.session.drivers import Drivers

from .own_drivers import Base, as_module, context


class ToldBadly(Base):
    def apply(self, command, now_ns):
        raise OSError("no bus")


class Counts(Base):
    def poll(self, now_ns):
        return [Reading(now_ns, 0, "a"), Reading(now_ns, 1, "b")]


class Range(Base):
    def poll(self, now_ns):
        return [Reading(now_ns, 5, RangeValue(1.0))]


class Raising(Base):
    def poll(self, now_ns):
        raise ValueError("garbled")

    def close(self):
        raise RuntimeError("will not close")


class NoReadings(Base):
    def poll(self, now_ns):
        return [2.0]


class Talkative(Base):
    """Reports a million numbers where a reading is due, or raises them."""

    def poll(self, now_ns):
        numbers = list(range(1_000_000))
        if now_ns:
            raise ValueError(numbers)
        return [numbers]


class CannotOpen(Base):
    def __init__(self, options, context):
        raise OSError("no such port")


@pytest.fixture(autouse=True)
def module():
    yield from as_module(globals())


def record(sequence, jaws=None):
    return StepRecord(0, DriveCommand(0.1, 0.1, sequence, 1), jaws, "", (), None)


def test_readings_come_by_family_and_in_their_order():
    drivers = Drivers(context(range={"driver": "my_drivers:Range"}), ())
    assert [(family, reading.sequence) for family, reading in drivers.poll(7)] == [
        ("counts", 0),
        ("counts", 1),
        ("range", 5),
    ]


def test_options_of_a_users_own_driver_are_si_floats():
    drivers = Drivers(context(range={"driver": "my_drivers:Range", "reach": "25 cm", "name": "bow"}), ())
    made = drivers.made("range")
    assert (made.options["reach"], made.options["name"]) == (0.25, "bow")


def test_a_step_is_told_to_drive_and_gripper():
    drivers = Drivers(context(gripper={"driver": "my_drivers:Told"}), ())
    drivers.apply(record(3), is_stopped=False)
    drivers.apply(record(4, JawsCommand(1.0, 4, 1)), is_stopped=False)
    assert Base.log[-3:] == [("Told", "told 3"), ("Told", "told 4"), ("Told", "told 4")]


class TestWhatCannotBeMade:
    @pytest.mark.parametrize(
        ("name", "said"),
        [
            ("RaisesKeyError", "range: driver 'my_drivers:RaisesKeyError' cannot be made: it raised KeyError: 'pin'"),
            ("Leaves", "range: driver 'my_drivers:Leaves' cannot be made: it raised SystemExit: 0"),
            ("Abstract", "range: driver 'my_drivers:Abstract' cannot be made: it raised TypeError: Can't instantiate"),
            ("ManyLines", "range: two lines"),
            ("Unspeakable", "range: driver 'my_drivers:Unspeakable' cannot be made: it raised Error"),
            ("Idle", "range: driver 'my_drivers:Idle' has no poll() and no close(); DEVELOPERS.md has what it needs"),
            ("Told", "range: driver 'my_drivers:Told' has no poll()"),
        ],
    )
    def test_it_is_said_in_one_line(self, name, said):
        with pytest.raises(LoadError) as raised:
            Drivers(context(range={"driver": f"my_drivers:{name}"}), ())
        assert str(raised.value).startswith(said)
        assert "\n" not in str(raised.value)


class RaisesKeyError(Range):
    def __init__(self, options, context):
        {}["pin"]


class Leaves(Range):
    def __init__(self, options, context):
        raise SystemExit(0)


class Abstract(Range, ABC):
    @abstractmethod
    def wired(self):
        pass


class ManyLines(Range):
    def __init__(self, options, context):
        raise OSError("two\nlines")


class Unspeakable(Range):
    class Error(Exception):
        """An exception that cannot even be shown."""

        def __str__(self):
            raise ZeroDivisionError

    def __init__(self, options, context):
        raise self.Error


class Idle:
    def __init__(self, options, context):
        pass


def test_a_sensor_that_raises_is_faulty_once_and_the_others_go_on():
    drivers = Drivers(context(range={"driver": "my_drivers:Raising"}), ())
    assert [family for family, _ in drivers.poll(0)] == ["counts", "counts"]
    assert drivers.faults() == [("range", "its driver raised ValueError: garbled")]
    drivers.poll(1)
    assert drivers.faults() == []


def test_a_sensor_that_returns_anything_but_readings_is_faulty():
    drivers = Drivers(context(range={"driver": "my_drivers:NoReadings"}), ())
    assert [family for family, _ in drivers.poll(0)] == ["counts", "counts"]
    ((family, why),) = drivers.faults()
    assert family == "range"
    assert why.endswith("poll returns Readings, and this one returned 2.0")


@pytest.mark.parametrize(("now_ns", "said"), [(0, "one returned [0, 1, 2, "), (1, "raised ValueError: [0, 1, 2, ")])
def test_of_what_is_wrong_no_more_than_a_line_is_told(now_ns, said):
    drivers = Drivers(context(range={"driver": "my_drivers:Talkative"}), ())
    drivers.poll(now_ns)
    ((_, why),) = drivers.faults()
    assert said in why
    assert len(why) < 330


@pytest.mark.parametrize(("family", "other"), [("gripper", "drive"), ("drive", "gripper")])
def test_an_actuator_that_raises_is_faulty_and_not_told_again_before_its_next_try(family, other):
    drivers = Drivers(context(**{family: {"driver": "my_drivers:ToldBadly"}, other: {"driver": "my_drivers:Told"}}), ())
    for sequence in range(3):
        drivers.apply(record(sequence, JawsCommand(1.0, sequence, 1)), is_stopped=False)
    assert drivers.faults() == [(family, "its driver raised OSError: no bus")]
    assert ("Told", "told 2") in Base.log


def test_actuators_are_closed_first_and_one_that_fails_does_not_keep_the_others_open():
    drivers = Drivers(context(battery={"driver": "my_drivers:Raising"}), ())
    drivers.close()
    assert [entry for entry in Base.log if entry[1] == "closed"] == [("Told", "closed"), ("Counts", "closed")]
    drivers.close()
    assert Base.log.count(("Told", "closed")) == 1


def test_one_that_cannot_be_opened_closes_those_made_before():
    with pytest.raises(LoadError, match="range: no such port"):
        Drivers(context(range={"driver": "my_drivers:CannotOpen"}), ())
    assert ("Counts", "closed") in Base.log


def test_a_class_that_is_not_there_is_named():
    with pytest.raises(LoadError, match="has no class 'Rang'; did you mean 'Range'"):
        Drivers(context(range={"driver": "my_drivers:Rang"}), ())
