"""`rover check --driver`: what a driver of a person's own must do, tried without pytest. Runs its code."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

from rover.devices.registry import load_class
from rover.errors import UserError
from rover.files.problems import nearest
from rover.files.robot import Robot
from rover.link import open_link
from rover.readiness.finding import Finding, Verdict, not_tried
from rover.testing import ContractError, DriverUnderTest, NothingReportedError, checks_for, guessed, in_robot
from rover.testing.actuators import check_expired_commands_change_nothing
from rover.testing.lifetime import check_it_is_made

UNSEEN = "nobody sees here what the hardware was told; a test of yours can, see 'told' in rover.testing"


@contextmanager
def subjects(driver: str, robot: Robot | None) -> Iterator[list[DriverUnderTest]]:
    """Yield the devices and outputs of a robot that have a driver, serial links open; without a robot, a guess.

    Raises:
        UserError: the robot has none with this driver, a link cannot be opened, or the driver cannot be had.
    """
    if robot is None:
        yield [guessed(load_class(driver, "driver"))]
        return
    blocks: dict[str, Any] = {**robot.devices.fitted(), **robot.outputs}
    names = [name for name, keys in blocks.items() if keys.driver == driver]
    if not names:
        own = {keys.driver for keys in blocks.values()}
        raise UserError(f"the robot file has no device or output with the driver '{driver}'{nearest(driver, own)}")
    with ExitStack() as closing:
        links = {}
        for link in {link for name in names if (link := getattr(blocks[name], "link", None)) is not None}:
            links[link] = open_link(robot.links[link])
            closing.callback(links[link].close)
        yield [in_robot(robot, name, links=links) for name in names]


def check_driver(subject: DriverUnderTest) -> Iterator[Finding]:
    """Try a driver on every check that ships and yield what each found; not made, or nothing reported, ends it."""
    for check in checks_for(subject):
        name = check.__name__.removeprefix("check_").replace("_", " ")
        expected, _, reason = (" ".join(part.split()) for part in (check.__doc__ or "").partition("\n\n"))
        if check is check_expired_commands_change_nothing and subject.told is None:
            yield not_tried(name, UNSEEN, expected)
            continue
        try:
            check(subject)
        except (ContractError, UserError) as error:
            yield Finding(name, Verdict.OTHERWISE, str(error), expected, advice=(reason,))
            if check is check_it_is_made or isinstance(error, NothingReportedError):
                return
        else:
            yield Finding(name, Verdict.AS_EXPECTED, "", expected)
