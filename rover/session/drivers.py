"""The robot's drivers at work: made from the robot file, polled and told, each fault kept to its own device."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from rover.core import StepRecord
from rover.devices.keys import DeviceKeys
from rover.devices.protocols import DriverContext
from rover.devices.readings import DriveCommand, JawsCommand, Reading
from rover.devices.registry import SIMULATED, LoadError, is_dotted, load_driver


class Drivers:
    """All drivers of a run, in the order of their families' names.

    Args:
        context: what drivers are given.
        simulate: families whose built-in driver is replaced by its stand-in; a user's own is never replaced.
        held: drivers that are there already, by family: of what the motor guard holds.

    Raises:
        LoadError: there is no such driver, or its device cannot be had.
    """

    def __init__(
        self, context: DriverContext, simulate: Sequence[str], held: Mapping[str, Any] = MappingProxyType({})
    ) -> None:
        self._made: dict[str, Any] = dict(held)
        self._faults: list[tuple[str, str]] = []
        try:
            for family, device in context.robot.devices.fitted().items():
                if family not in held:
                    is_simulated = family in simulate and not is_dotted(device.driver)
                    self._made[family] = _made(family, SIMULATED if is_simulated else device.driver, device, context)
        except BaseException:
            self.close()
            raise
        made = sorted(self._made.items())
        self._sensors = [(family, driver.poll) for family, driver in made if hasattr(driver, "poll")]
        self._actuators = {family: driver.apply for family, driver in made if hasattr(driver, "apply")}

    def made(self, family: str) -> Any:
        """Return a family's driver, None when the robot has none."""
        return self._made.get(family)

    def trouble(self, family: str) -> str:
        """Return what a driver itself says is wrong with its device, or ''."""
        return str(getattr(self._made.get(family), "trouble", ""))

    def poll(self, now_ns: int) -> list[tuple[str, Reading]]:
        """Return the new readings, ordered by family and sequence."""
        new: list[tuple[str, Reading]] = []
        for family, poll in self._sensors:
            try:
                for reading in poll(now_ns):
                    if not isinstance(reading, Reading):
                        raise TypeError(f"poll returns Readings, and this one returned {reading!r}")
                    new.append((family, reading))
            except Exception as error:
                self._give_up(family, error)
        return new

    def faults(self) -> list[tuple[str, str]]:
        """Return the drivers that gave up since the last call."""
        if not self._faults:
            return []
        faults, self._faults = self._faults, []
        return faults

    def apply(self, record: StepRecord) -> None:
        """Tell the actuators what a step decided, jaws first: the guard's wheels take the jaws' pulse along."""
        if record.jaws is not None:
            self._tell("gripper", record.jaws, record.now_ns)
        self._tell("drive", record.drive, record.now_ns)

    def _tell(self, family: str, command: DriveCommand | JawsCommand, now_ns: int) -> None:
        if family in self._actuators:
            try:
                self._actuators[family](command, now_ns)
            except Exception as error:
                del self._actuators[family]
                self._give_up(family, error)

    def _give_up(self, family: str, error: Exception) -> None:
        self._faults.append((family, f"its driver raised {type(error).__name__}: {error}"))
        self._sensors = [pair for pair in self._sensors if pair[0] != family]

    def close(self) -> None:
        """Close every driver, actuators first; one that fails does not keep the others from it."""
        for family in sorted(self._made, key=lambda family: (family not in ("drive", "gripper"), family)):
            try:
                self._made[family].close()
            except Exception as error:
                self._faults.append((family, f"closing it raised {type(error).__name__}: {error}"))
        self._made = {}


def _made(family: str, driver: str, device: DeviceKeys, context: DriverContext) -> Any:
    try:
        return load_driver(family, driver)(device.options, context)
    except (OSError, ValueError) as error:
        raise LoadError(f"{family}: {error}") from error
