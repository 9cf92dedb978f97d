"""What a calibration needs from outside: a robot that drives and reports, and somebody with tape, ruler and eyes."""

from collections.abc import Callable, Sequence
from typing import Protocol, TypeVar

from rover.calibrate.findings import CalibrationError
from rover.devices.readings import Reading

Keys = TypeVar("Keys")
"""What the robot file says of a device."""


class Drivetrain(Protocol):
    """A robot on the floor. One thread.

    Attributes:
        period_s: how long a step takes (s).
    """

    period_s: float

    @property
    def now_ns(self) -> int:
        """The present time (monotonic ns)."""
        ...

    def step(self, left: float, right: float) -> Sequence[tuple[str, Reading]]:
        """Drive with these duties (-1 to 1) until the loop's next step; return what the devices reported, by family.

        Raises:
            CalibrationError: a driver gave up, or the robot may not move.
        """
        ...

    def jaws(self, pulse: float) -> None:
        """Tell the gripper's servo a pulse (s), from the next step on."""
        ...

    def feedback(self) -> float | None:
        """Return the raw number of the gripper's feedback; None where there is none."""
        ...


class Assistant(Protocol):
    """Who stands beside the robot. Lengths in m, angles in rad; each answer is plausible, or it is asked for again."""

    def ready(self, what: str) -> None:
        """Do ``what`` (to put the robot somewhere, to mark where it stands), and come back when it is done."""
        ...

    def length(self, expected: float) -> float:
        """Return how far the robot has gone from the mark, by tape, close to what is expected."""
        ...

    def return_error(self, side: float) -> tuple[float, float]:
        """Return where the robot has come back to: m ahead and m left of the mark, as it stood there at the start."""
        ...

    def moved(self) -> tuple[float, float]:
        """Return where the robot's middle stands after a turn on the spot: m ahead and m left, as of `return_error`."""
        ...

    def true_heading(self) -> float:
        """Return the heading in which the robot stands, counter-clockwise from the field's x axis."""
        ...

    def turned_left(self) -> bool:
        """Tell whether the robot has turned to its left, counter-clockwise from above."""
        ...

    def wall_distance(self, wanted: float) -> float:
        """Put the robot before a wall at about ``wanted``; return the ruler's distance from sensor's face to wall."""
        ...

    def air_temperature(self) -> float:
        """Return the temperature of the air (degrees Celsius)."""
        ...

    def put_object(self) -> None:
        """Put an object between the open jaws."""
        ...

    def take_object(self) -> None:
        """See that nothing is between the jaws."""
        ...

    def pulse(self, jaws: str, present: float, attempt: Callable[[float], object]) -> float:
        """Return the servo pulse (s) at which the jaws are ``jaws`` (open, or closed), trying out with ``attempt``."""
        ...


def needed(device: Keys | None, name: str, family: str) -> Keys:
    """Return what the robot file says of a device.

    Raises:
        CalibrationError: it has none.
    """
    if device is None:
        raise CalibrationError(f"this robot has no {name}; name it under 'devices: {family}:' in its file")
    return device


def check_length(measured: float, expected: float) -> None:
    """Raise where a tape's length (m) cannot be meant.

    Raises:
        CalibrationError: zero, negative, or more than a quarter off.
    """
    if measured <= 0.0:
        raise CalibrationError(f"a length of {measured * 1e3:.0f} mm: measure from the mark forwards; it is above zero")
    if not 0.75 <= measured / expected <= 1.3334:
        raise CalibrationError(
            f"measured {measured:.3f} m, but by its counts the robot went {expected:.3f} m "
            f"({measured / expected:.2f} times): look at the unit and the tape again; if the tape is right, "
            "correct 'counts_per_rev' or 'wheel_diameter' first (config/README.md, Measuring the robot)"
        )


def check_moved(x: float, y: float) -> None:
    """Raise where no turn on the spot moves a robot's middle so far (m).

    Raises:
        CalibrationError: more than 20 cm.
    """
    if max(abs(x), abs(y)) > 0.2:
        raise CalibrationError(
            f"its middle stands {x:.3f} m ahead and {y:.3f} m left of the mark after a turn on the spot: look at the "
            "unit and at the mark again; if it is so, a wheel slipped"
        )


def check_return(x: float, y: float, side: float) -> None:
    """Raise where a return error (m) is no small share of the square's side.

    Raises:
        CalibrationError: more than half a side off.
    """
    if max(abs(x), abs(y)) > side / 2.0:
        raise CalibrationError(
            f"came back {x:.3f} m ahead and {y:.3f} m left of the mark, on a square of {side:g} m: look at the unit "
            "and at the mark again; if it is so, the robot did not drive a square"
        )
