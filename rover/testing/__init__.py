"""What a driver must do, as checks: for a driver of your own with pytest, or by `rover check --driver`.

Each check is a function that takes a `DriverUnderTest` and raises `ContractError` with one line on what is wrong; its
docstring says what it looks at, and why. With pytest, for a bumper that declares its signals::

    import pytest
    from rover.testing import CHECKS, under_test
    from my_lab.bumper import Bumper

    @pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
    def test_the_bumper_is_a_good_driver(check):
        check(under_test(Bumper, {"signals": {"pressed": "yes or no"}, "pin": 17}))

An actuator is commanded through its whole range: what it moves, moves.
"""

from collections.abc import Callable

from rover.devices.camera.keys import CameraKeys
from rover.testing.actuators import (
    check_apply_refuses_what_is_no_number,
    check_apply_takes_the_whole_range,
    check_expired_commands_change_nothing,
)
from rover.testing.driver import (
    DriverUnderTest,
    MonotonicClock,
    SteppedClock,
    in_robot,
    under_test,
)
from rover.testing.guess import guessed
from rover.testing.lifetime import (
    check_it_can_be_made_again,
    check_it_closes_twice,
    check_it_is_made,
    check_nothing_is_left_behind,
)
from rover.testing.sensors import (
    check_frames_stay_as_they_are,
    check_it_reports_at_its_rate,
    check_poll_never_waits,
    check_poll_recovers,
    check_poll_returns_readings,
    check_readings_are_in_order,
    check_sequence_grows,
    check_times_do_not_run_ahead,
    check_values_are_possible,
)
from rover.testing.watch import ContractError, NothingReportedError

__all__ = [
    "CHECKS",
    "ContractError",
    "DriverUnderTest",
    "MonotonicClock",
    "NothingReportedError",
    "SteppedClock",
    "checks_for",
    "guessed",
    "in_robot",
    "under_test",
]

Check = Callable[[DriverUnderTest], None]

_OF_ALL: tuple[Check, ...] = (
    check_it_is_made,
    check_it_closes_twice,
    check_nothing_is_left_behind,
    check_it_can_be_made_again,
)
_OF_SENSORS: tuple[Check, ...] = (
    check_poll_never_waits,
    check_poll_recovers,
    check_poll_returns_readings,
    check_times_do_not_run_ahead,
    check_sequence_grows,
    check_readings_are_in_order,
    check_values_are_possible,
    check_it_reports_at_its_rate,
)
_OF_CAMERAS: tuple[Check, ...] = (check_frames_stay_as_they_are,)
_OF_ACTUATORS: tuple[Check, ...] = (
    check_apply_takes_the_whole_range,
    check_apply_refuses_what_is_no_number,
    check_expired_commands_change_nothing,
)
CHECKS = (*_OF_ALL, *_OF_SENSORS, *_OF_CAMERAS, *_OF_ACTUATORS)
"""All of them. One on what is polled passes where nothing is, and so on."""


def checks_for(subject: DriverUnderTest) -> tuple[Check, ...]:
    """Return the checks that have something to look at."""
    of_sensors = _OF_SENSORS if subject.reports else ()
    of_cameras = _OF_CAMERAS if subject.reports and isinstance(subject.device, CameraKeys) else ()
    return (*_OF_ALL, *of_sensors, *of_cameras, *(_OF_ACTUATORS if subject.acts else ()))
