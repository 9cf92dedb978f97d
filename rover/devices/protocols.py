"""The driver interface: what a class must offer to be named under ``driver:`` in a robot file.

A driver is a class made with ``Class(options, context)``; options are the values of all keys that the family's
`keys.py` knows, checked and in SI units. One that reports has `poll`; one that is commanded has `apply`; all have
`close`. Time is passed in, so the same class runs on the robot, on the bench and in a test. A driver that has to wait
for its hardware does so in a thread of its own and hands over what has come in when it is polled; `poll` and `apply`
never wait.

An exception out of a driver makes the device `faulty`, and the run goes on without it (rule R12). It is tried again
after 0.1 s, then with waits that double up to 10 s: first as it is, then closed and made anew with the same options.
On the robot that is done in a thread of its own, so that a constructor may wait for its hardware. An actuator that
raises latches a stop, and another one when it is back.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar, runtime_checkable

from rover.devices.camera.keys import CameraKeys
from rover.devices.meanwhile import Meanwhile, at_once
from rover.devices.readings import Detections, DriveCommand, Fault, Frame, JawsCommand, Reading
from rover.files.robot import Robot

Command = TypeVar("Command", DriveCommand, JawsCommand, contravariant=True)
FindObjects = Callable[[Frame], Detections | Fault]
"""Returns what a camera's next frame shows, or what is wrong with one that shows nothing to rely on."""


def _no_vision(camera: CameraKeys) -> FindObjects:
    raise ValueError("nothing here finds objects in the frames of a camera")


@dataclass(frozen=True)
class DriverContext:
    """What a driver is given besides its own options.

    Attributes:
        robot: the robot file.
        seed: the run's seed, for drivers that draw random numbers.
        links: serial links by the name they have in the robot file (objects of `rover.link`).
        bench: the bench in a rehearsal, None on the robot.
        finder_of: gives, for a camera, what finds the errand's objects in its frames.
        meanwhile: has what takes longer than a step done: in a thread on the robot, at once in a rehearsal, so that one
            seed gives one run there as well.
        name: what the robot file calls the device.
    """

    robot: Robot
    seed: int
    links: Mapping[str, Any]
    bench: Any = None
    finder_of: Callable[[CameraKeys], FindObjects] = _no_vision
    meanwhile: Meanwhile = at_once
    name: str = ""


@runtime_checkable
class Sensor(Protocol):
    """A device that reports: counts, heading, range, camera, battery, stop input, jaws with feedback."""

    def poll(self, now_ns: int) -> Sequence[Reading]:
        """Return the reports that came in since the last call, oldest first. Never waits."""
        ...

    def close(self) -> None:
        """Let go of what the driver holds; a second call does nothing."""
        ...


@runtime_checkable
class Actuator(Protocol[Command]):
    """A device that is commanded: drive (`DriveCommand`) or gripper (`JawsCommand`)."""

    def apply(self, command: Command, now_ns: int) -> None:
        """Carry the command out. Never waits. The device itself goes to zero when the command expires."""
        ...

    def close(self) -> None:
        """Stop the motion, then let go of what the driver holds; a second call does nothing."""
        ...
