"""The runtime's drivers of what the guard holds: jaws and stop input, beside the wheels of `client`, which send."""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.gripper import co_processor, servo_pins
from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.devices.protocols import DriverContext
from rover.devices.readings import JawsCommand, Reading, StopInputValue
from rover.guard.client import GuardClient, Wheels
from rover.guard.in_process import GuardThread
from rover.guard.settings import GuardSettings
from rover.quantities import clamp

GUARD = "guard"
"""Stands among the devices for the guard itself."""


class ServoJaws:
    """Jaws whose pulses the guard makes: slewed, and limited in how long they push, as by `servo_pins.Gripper`."""

    def __init__(self, options: Mapping[str, Any], wheels: Wheels) -> None:
        self._closed_s, self._open_s = options["closed"], options["open"]
        self._slew = servo_pins.Slew(options["travel_time"], options["push_for"])
        self._wheels = wheels

    def apply(self, command: JawsCommand, now_ns: int) -> None:
        """Move on towards the wanted opening; the pulse goes with the next command to the wheels.

        Raises:
            ValueError: the opening is not a number.
        """
        target = command.opening
        if target is not None:
            servo_pins.pulse_for(target, self._closed_s, self._open_s)
            target = clamp(target, 0.0, 1.0)
        self._slew.aim(target, now_ns)
        opening = self._slew.opening
        pulse_s = 0.0 if opening is None else servo_pins.pulse_for(opening, self._closed_s, self._open_s)
        self._wheels.carry(round(pulse_s * 1e6), command.expires_ns)


class LinkJaws(ServoJaws, co_processor.Gripper):
    """The servo on the co-processor: its reports come over the link, its pulses go through the guard."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext, wheels: Wheels) -> None:
        ServoJaws.__init__(self, options, wheels)
        co_processor.Gripper.__init__(self, options, context)


class PinJaws(ServoJaws):
    """The servo on a PWM channel, with whatever feedback is fitted."""

    def __init__(self, options: Mapping[str, Any], wheels: Wheels) -> None:
        super().__init__(options, wheels)
        self._feedback = servo_pins.Feedback(options)

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return what jaws with feedback report."""
        return self._feedback.poll(self._slew, now_ns)

    def close(self) -> None:
        """Let go of the feedback; the guard does what ``on_stop`` says once nobody commands."""
        self._feedback.close()


class StopInput:
    """The stop input, as the guard tells it; a guard that says nothing lets the device become overdue."""

    def __init__(self, client: GuardClient) -> None:
        self._client = client
        self._told_ns = 0
        self._sequence = 0

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the guard's last word, if it is a new one; whoever steps polls the client first."""
        state = self._client.state
        if state is None or state.now_ns == self._told_ns:
            return ()
        self._told_ns = state.now_ns
        self._sequence += 1
        return [Reading(state.now_ns, self._sequence, StopInputValue(not state.input_open))]

    def close(self) -> None:
        """Do nothing: the guard holds the pin."""


def drivers_by_guard(
    context: DriverContext, settings: GuardSettings, guard: GuardClient | GuardThread
) -> dict[str, Any]:
    """Return, by family, the drivers of the wheels and of the jaws as far as the guard holds them.

    Wheels with a driver of a person's own it does not; it hears their commands all the same, under `GUARD`: so it knows
    that the runtime is at work.
    """
    wheels = Wheels(guard)
    gripper, name = context.robot.devices.gripper, "drive" if settings.drive else GUARD
    if gripper is None or settings.servo is None:
        return {name: wheels}
    is_on_link = isinstance(gripper, CoProcessorGripperKeys)
    jaws = LinkJaws(gripper.options, context, wheels) if is_on_link else PinJaws(gripper.options, wheels)
    return {name: wheels, "gripper": jaws}
