"""Which device a driver may be of, where no robot file says so: by what it reports."""

from collections.abc import Mapping
from contextlib import suppress
from typing import Any

from rover.devices.families import FAMILIES
from rover.devices.meanwhile import FAILURES
from rover.devices.readings import Frame
from rover.errors import UserError, in_short
from rover.testing.driver import DriverUnderTest, under_test
from rover.testing.trial import AtWork
from rover.testing.watch import ContractError, Watch, watched

NAME_IT = "name the robot file in which it stands: rover check ROBOT --driver ..."
_FAMILIES = {family.value: name for name, family in FAMILIES.items() if family.reports} | {Frame: "camera"}


def guessed(driver: type) -> DriverUnderTest:
    """Return a driver as that of a device with the usual keys, guessed by its first report.

    Raises:
        UserError: it cannot be guessed, or the driver cannot be made or reports nothing.
    """
    if hasattr(driver, "apply"):
        raise UserError(f"{driver.__qualname__} is commanded, and what it moves moves; {NAME_IT}")
    try:
        value = watched(lambda watch: _first_value(driver, watch))
    except (ContractError, UserError) as error:
        raise UserError(f"{error}; if it needs keys of its own, {NAME_IT}") from error
    if type(value) in _FAMILIES:
        return under_test(driver, {"family": _FAMILIES[type(value)]})
    kinds = {name: _kind(one) for name, one in value.items()} if isinstance(value, Mapping) else {}
    if not kinds or None in kinds.values():
        raise UserError(f"it reports {in_short(value)}, which does not tell of what device it is; {NAME_IT}")
    return under_test(driver, {"signals": kinds})


def _first_value(driver: type, watch: Watch) -> Any:
    at_work = AtWork(under_test(driver, {"signals": {"unknown": "number"}}), watch)
    try:
        return at_work.polls_to_a_reading()[-1].readings[0].value
    finally:
        with suppress(*FAILURES):
            at_work.close()


def _kind(value: object) -> str | None:
    if isinstance(value, bool):
        return "yes or no"
    return "number" if isinstance(value, (int, float)) else None
