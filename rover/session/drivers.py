"""The robot's drivers at work: made from the robot file, polled and told, each fault kept to its own device."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from types import MappingProxyType
from typing import Any

from rover.core import Action, StepRecord
from rover.devices.camera.keys import CameraKeys
from rover.devices.keys import SIMULATED, DeviceKeys
from rover.devices.meanwhile import FAILURES
from rover.devices.protocols import DriverContext
from rover.devices.readings import DriveCommand, JawsCommand, Reading
from rover.devices.registry import load_driver
from rover.devices.with_driver import is_dotted
from rover.errors import in_words, one_line
from rover.guard.drivers import GUARD
from rover.session.driver import Changes, DriverAtWork, made, renewed, wheels_at_rest
from rover.session.outputs import Commands, Outputs, OutputsHere
from rover.session.seeing import SeeingCamera

ACTUATORS = ("drive", "gripper")
WHEELS = ("drive", GUARD)
REST = dict.fromkeys(WHEELS, wheels_at_rest)


class Drivers:
    """All drivers of a run, in the order of their families' names.

    Args:
        context: what drivers are given.
        simulate: families whose built-in driver is replaced by its stand-in; a user's own is never replaced.
        held: drivers that are there already, by family: of what the motor guard holds.
        outputs: of one's own; None: made here.

    Raises:
        LoadError: there is no such driver, or its device cannot be had.
    """

    def __init__(
        self,
        context: DriverContext,
        simulate: Sequence[str],
        held: Mapping[str, Any] = MappingProxyType({}),
        outputs: Outputs | None = None,
    ) -> None:
        self._changes = Changes()
        self._outputs = outputs
        self._devices: dict[str, DriverAtWork] = {}
        for family, driver in held.items():
            self._devices[family] = DriverAtWork(family, driver, None, self._changes, REST.get(family))
        try:
            for name, device in context.robot.devices.fitted().items():
                if name not in held:
                    is_simulated = name in simulate and not is_dotted(device.driver)
                    driver = SIMULATED if is_simulated else device.driver
                    make = partial(_made, driver, device, replace(context, name=name))
                    renew = partial(renewed, context.meanwhile, make)
                    self._devices[name] = DriverAtWork(name, make(), renew, self._changes, REST.get(name))
            if self._outputs is None and context.robot.outputs:
                self._outputs = OutputsHere(context)
        except BaseException:
            self.close()
            raise
        self._sensors = [device for _, device in sorted(self._devices.items())]

    def made(self, family: str) -> Any:
        """Return a family's driver, None when the robot has none; after a failure it may be another one."""
        return self._devices[family].driver if family in self._devices else None

    def is_away(self, name: str) -> bool:
        """Tell whether a device's driver has failed, and is not back."""
        return name in self._devices and self._devices[name].is_away

    def trouble(self, family: str) -> str:
        """Return what a driver itself says is wrong with its device, or ''."""
        return one_line(str(getattr(self.made(family), "trouble", "")))

    def newest_frame(self) -> Reading | None:
        """Return the newest frame of the camera of which something was reported, None where there is none."""
        frame: Reading | None = getattr(self.made("camera"), "frame", None)
        return frame

    def poll(self, now_ns: int) -> list[tuple[str, Reading]]:
        """Return the new readings, ordered by family and sequence; try again what is away and due."""
        return [(device.family, reading) for device in self._sensors for reading in device.poll(now_ns)]

    def faults(self) -> list[tuple[str, str]]:
        """Return the drivers that failed since the last call, with why, and with '' those that are back."""
        self._hear_outputs()
        if not self._changes.faults:
            return []
        faults, self._changes.faults = self._changes.faults, []
        return faults

    def tries(self) -> list[str]:
        """Return the tries to bring drivers back since the last call, in sentences."""
        if not self._changes.tries:
            return []
        tries, self._changes.tries = self._changes.tries, []
        return tries

    def _hear_outputs(self) -> None:
        if self._outputs is not None:
            news = self._outputs.changes()
            self._changes.faults += news.faults
            self._changes.stops += news.stops

    def stops(self) -> list[Action]:
        """Return the stops that are due: for an actuator that failed, and again when it is back."""
        if not self._changes.stops:
            return []
        causes, self._changes.stops = self._changes.stops, []
        return [Action("stop", cause) for cause in causes]

    def apply(self, record: StepRecord, *, is_stopped: bool) -> None:
        """Tell the actuators what a step decided, jaws first: the guard's wheels take the jaws' pulse along.

        Args:
            record: of the step.
            is_stopped: a stop is latched: an actuator that came back during it is told nothing yet.
        """
        if record.jaws is not None:
            self.tell("gripper", record.jaws, record.now_ns, is_stopped=is_stopped)
        self.drive(record.drive, record.now_ns, is_stopped=is_stopped)
        self.set_outputs(record.outputs, record.now_ns)

    def drive(self, command: DriveCommand, now_ns: int, *, is_stopped: bool = False) -> None:
        """Tell the wheels; with a driver of one's own the guard hears it too."""
        for name in WHEELS:
            self.tell(name, command, now_ns, is_stopped=is_stopped)

    def set_outputs(self, commands: Commands, now_ns: int) -> None:
        """Tell outputs of one's own."""
        if commands and self._outputs is not None:
            self._outputs.tell(commands, now_ns)

    def halt(self, seconds: float) -> None:
        """Have drivers of one's own halted for a time that are at work in other processes."""
        if self._outputs is not None:
            self._outputs.halt(seconds)

    def tell(self, family: str, command: DriveCommand | JawsCommand, now_ns: int, *, is_stopped: bool = False) -> None:
        """Tell one actuator, if the robot has it."""
        device = self._devices.get(family)
        if device is not None and device.is_actuator:
            device.tell(command, now_ns, is_stopped)

    @property
    def remarks(self) -> list[str]:
        """How often each device was lost and brought back, and frames that were of no use, in sentences."""
        devices = [device for _, device in sorted(self._devices.items())]
        lost = [device.remark for device in devices if device.remark]
        cameras = [device for device in devices if isinstance(device.driver, SeeingCamera)]
        return [*lost, *(f"{device.family}: {remark}" for device in cameras for remark in device.driver.remarks)]

    def close(self) -> None:
        """Close every driver, actuators first; one that fails does not keep the others from it."""
        if self._outputs is not None:
            self._outputs.close()
            self._hear_outputs()
        for family in sorted(self._devices, key=lambda family: (family not in ACTUATORS, family)):
            device = self._devices[family]
            if not device.is_closed:
                try:
                    device.close()
                except FAILURES as error:
                    self._changes.faults.append((family, f"closing it raised {in_words(error)}"))


def make_driver(driver: str, device: DeviceKeys, context: DriverContext) -> Any:
    """Return a new driver of a device, by the driver's name; raises as `made` does."""
    cls = load_driver(context.robot.devices.family_of(context.name), driver)
    return made(cls, device, context, ("apply" if context.name in ACTUATORS else "poll", "close"))


def _made(driver: str, device: DeviceKeys, context: DriverContext) -> Any:
    """Return a new driver, as `make_driver`; behind a camera's stands the vision."""
    new = make_driver(driver, device, context)
    if isinstance(device, CameraKeys):
        return SeeingCamera(new, partial(context.finder_of, device), context.meanwhile)
    return new
