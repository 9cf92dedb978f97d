"""The checks of drivers: a good driver passes all, a broken one fails those that are about what is broken."""

import pytest

from rover import testing
from rover.errors import UserError
from rover.testing import CHECKS, ContractError, SteppedClock, lifetime, trial, under_test

from . import broken_drivers as drivers

RANGE = {"family": "range", "rate": "20 Hz"}
CAMERA = {"family": "camera"}
BUMPER = {"signals": {"pressed": "yes or no"}}
JAWS = {"family": "gripper"}
LAMP = {"rest": False}
LIFT = {"rest": "0 mm", "trial": "20 mm"}


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    """Wait for less where nothing comes; a busy computer makes this no wrong verdict on the good ones."""
    for module, name in (
        (trial, "MADE_WITHIN_S"),
        (trial, "CLOSED_WITHIN_S"),
        (trial, "FIRST_WITHIN_S"),
        (trial, "HANGS_AFTER_S"),
        (lifetime, "GONE_WITHIN_S"),
    ):
        monkeypatch.setattr(module, name, 1.0)


def verdicts(subject):
    """Return what each check that fails says, by the check's name."""
    said = {}
    for check in CHECKS:
        try:
            check(subject)
        except (ContractError, UserError) as error:
            said[check.__name__.removeprefix("check_")] = str(error)
    return said


@pytest.mark.parametrize(
    ("driver", "device"),
    [
        (drivers.Good, RANGE),
        (drivers.Hiccups, RANGE),
        (drivers.GoodCamera, CAMERA),
        (drivers.Pressed, BUMPER),
        (drivers.Jaws, JAWS),
        (drivers.Lamp, LAMP),
    ],
)
def test_a_good_driver_passes_them_all(driver, device):
    assert verdicts(under_test(driver, device, new_clock=SteppedClock)) == {}


BROKEN = [
    (drivers.ConstructorHangs, RANGE, "it_is_made", "the constructor has not returned after 1 s; what waits for"),
    (drivers.NeedsAKey, RANGE, "it_is_made", "cannot be made: it raised KeyError: 'pin'"),
    (drivers.NoClose, RANGE, "it_is_made", "has no close()"),
    (drivers.ClosesOnce, RANGE, "it_closes_twice", "close() raised OSError: the port is closed the second time"),
    (drivers.CloseHangs, RANGE, "it_closes_twice", "close() has not returned after 1 s"),
    (drivers.LeavesAThread, RANGE, "nothing_is_left_behind", "its thread 'reader' is still at work"),
    (drivers.LeavesAFile, RANGE, "nothing_is_left_behind", "after close() it still has /dev/zero open"),
    (drivers.MadeOnce, RANGE, "it_can_be_made_again", "did not work any more: range: pin 17 is in use"),
    (drivers.WaitsForItsSensor, RANGE | {"rate": "15 Hz"}, "poll_never_waits", "s of a loop's step of 0.02 s; wait in"),
    (drivers.WaitsNowAndThen, RANGE, "poll_never_waits", "without a command the wheels stand still; wait in a thread"),
    (drivers.Hangs, RANGE, "poll_never_waits", "poll() has not returned after 1 s; what waits for hardware"),
    (drivers.Wedges, RANGE, "poll_recovers", "after a poll() that raised OSError: no answer nothing is reported any"),
    (drivers.ReturnsNone, RANGE, "poll_returns_readings", "poll() returned None; return a list, empty when nothing"),
    (drivers.ReturnsNumbers, RANGE, "poll_returns_readings", "poll returns Readings, and this one returned 0.5"),
    (drivers.FloatTimes, RANGE, "poll_returns_readings", "a Reading's time and sequence are whole numbers"),
    (drivers.FromAnotherTime, RANGE, "times_do_not_run_ahead", "s after it was returned; take what was passed to"),
    (drivers.DeviceTime, RANGE, "times_do_not_run_ahead", "s before they are returned, and after 0.3 s the"),
    (drivers.NeverCounts, RANGE, "sequence_grows", "after the reading with sequence 1 came one with 1, which is left"),
    (drivers.NewestFirst, RANGE, "readings_are_in_order", "s before the one returned before it; oldest first"),
    (drivers.Millimetres, RANGE, "values_are_possible", "it gives impossible values (RangeValue(distance=1000.0))"),
    (drivers.AnotherFamily, RANGE, "values_are_possible", "it gives impossible values (JawsValue(opening=0.5"),
    (drivers.PressedInVolts, BUMPER, "values_are_possible", "it reports 3.3 for 'pressed', which is a yes or no"),
    (drivers.PressedByAnotherName, BUMPER, "values_are_possible", "does not declare; did you mean 'pressed'?"),
    (
        drivers.GreyPictures,
        CAMERA,
        "values_are_possible",
        "frames that cannot be read: the frame is no",
    ),
    (drivers.OneBuffer, CAMERA, "frames_stay_as_they_are", "two frames are in the same memory; hand over a copy"),
    (drivers.OnlyChanges, RANGE, "it_reports_at_its_rate", "s passed without a report, and after 0.3 s the device is"),
    (drivers.TooOften, RANGE, "it_reports_at_its_rate", "it reports 50 times a second, and the robot file says 'rate"),
    (drivers.Silent, RANGE, "it_can_be_made_again", "nothing was reported within 1 s; no run would start"),
    (drivers.JawsWithoutNone, JAWS, "apply_takes_the_whole_range", "raised TypeError: unsupported operand type(s) for"),
    (
        drivers.LampThatIsAlwaysOn,
        LAMP,
        "apply_takes_the_whole_range",
        "raised NotImplementedError for a value of",
    ),
    (drivers.Lamp, LIFT, "apply_refuses_what_is_no_number", "apply() took a value of nan; raise ValueError"),
    (drivers.LampOfYesterday, LAMP, "expired_commands_change_nothing", "a command for a value of True was carried out"),
    (drivers.JawsThatWait, JAWS, "apply_takes_the_whole_range", "hand the command to a thread of the driver's own"),
    (drivers.JawsOfNaN, JAWS, "apply_refuses_what_is_no_number", "apply() took an opening of nan; raise ValueError"),
    (drivers.JawsOfYesterday, JAWS, "expired_commands_change_nothing", "was carried out though its expires_ns had"),
]
REAL_TIME = (drivers.FromAnotherTime, drivers.DeviceTime)


@pytest.mark.parametrize(
    ("driver", "device", "check", "told"), BROKEN, ids=[f"{driver.__name__} {check}" for driver, _, check, _ in BROKEN]
)
def test_a_broken_driver_fails_the_check_of_what_is_broken(driver, device, check, told):
    clock = {} if driver in REAL_TIME else {"new_clock": SteppedClock}
    subject = under_test(driver, device, told=lambda: list(drivers.Jaws.log), **clock)
    with pytest.raises((ContractError, UserError)) as raised:
        getattr(testing, f"check_{check}")(subject)
    assert told in str(raised.value)
    assert "\n" not in str(raised.value)
