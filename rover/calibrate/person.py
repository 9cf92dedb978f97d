"""The person beside the robot, asked on the terminal; the robot is kept up while an answer is awaited."""

import math
import os
import select
from collections.abc import Callable

from rover import quantities
from rover.calibrate.apparatus import check_length, check_return
from rover.calibrate.findings import CalibrationError
from rover.calibrate.gripper import check_pulse
from rover.quantities import ANGLE, LENGTH, TEMPERATURE, TIME, Dimension, QuantityError


class Lines:
    """Lines typed on a descriptor.

    Args:
        descriptor: to read from.
        say: writes a text for the person.
        meanwhile: called again and again while nothing comes; it may wait a little, and should.
    """

    def __init__(self, descriptor: int, say: Callable[[str], None], meanwhile: Callable[[], object]) -> None:
        self.say = say
        self._descriptor, self._meanwhile = descriptor, meanwhile
        self._typed = b""

    def ask(self, question: str) -> str:
        """Return the line that is typed.

        Raises:
            CalibrationError: the input has ended.
        """
        self.say(question)
        while b"\n" not in self._typed:
            self._meanwhile()
            if select.select([self._descriptor], [], [], 0.0)[0]:
                more = os.read(self._descriptor, 1024)
                if not more:
                    raise CalibrationError(f"nobody answers '{question}'; calibrate at a terminal, or with --bench")
                self._typed += more
        line, _, self._typed = self._typed.partition(b"\n")
        return line.decode("utf-8", "replace").strip()


class Person:
    """Asks for what is measured, and again until it can be meant (see `rover.calibrate.apparatus.Assistant`)."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines

    def ready(self, what: str) -> None:
        """Ask to do something."""
        self._lines.ask(f"{what}; then press Enter")

    def _quantity(self, question: str, dimension: Dimension, check: Callable[[float], object]) -> float:
        while True:
            try:
                value = quantities.parse_as(self._lines.ask(question), dimension)
                check(value)
            except (QuantityError, CalibrationError) as error:
                self._lines.say(str(error))
            else:
                return value

    def _is_so(self, question: str) -> bool:
        while (answer := self._lines.ask(f"{question} [yes/no]").lower()) not in ("yes", "no"):
            self._lines.say("yes or no")
        return answer == "yes"

    def length(self, expected: float) -> float:
        """Ask for the tape's length."""
        question = "how far has it gone from the mark, by tape? (such as 1.985 m)"
        return self._quantity(question, LENGTH, lambda value: check_length(value, expected))

    def return_error(self, side: float) -> tuple[float, float]:
        """Ask for the place it came back to."""
        x = self._quantity("how far ahead of the mark does it stand? (-12 mm: behind it)", LENGTH, _no_check)
        y = self._quantity("how far to the left of the mark? (-12 mm: to the right)", LENGTH, _no_check)
        try:
            check_return(x, y, side)
        except CalibrationError as error:
            self._lines.say(str(error))
            return self.return_error(side)
        return x, y

    def true_heading(self) -> float:
        """Ask for the heading in which it stands."""
        question = "in which heading does it stand? (counter-clockwise from the field's x axis, such as 90 deg)"
        return self._quantity(question, ANGLE, _at_most_a_turn)

    def turned_left(self) -> bool:
        """Ask which way it turned."""
        return self._is_so("did it turn to its left, counter-clockwise from above?")

    def wall_distance(self, wanted: float) -> float:
        """Ask to put it before a wall, and for the ruler's distance."""
        question = (
            f"put it square to a smooth wall, the sensor's face about {wanted:g} m away; how far is it by the ruler?"
        )
        return self._quantity(question, LENGTH, lambda value: _check_near(value, wanted))

    def air_temperature(self) -> float:
        """Ask for the air's temperature."""
        return self._quantity("how warm is the air? (such as 21 degC)", TEMPERATURE, _check_air)

    def put_object(self) -> None:
        """Ask for an object between the jaws."""
        self.ready("put an object between the open jaws, and take the fingers away")

    def take_object(self) -> None:
        """Ask for empty jaws."""
        self.ready("see that nothing is between the jaws")

    def pulse(self, jaws: str, present: float, attempt: Callable[[float], object]) -> float:
        """Move the jaws as asked until they are right."""
        attempt(present)
        while True:
            shown = f"{present * 1e6:.0f} us"
            answer = self._lines.ask(f"{shown}: are the jaws just {jaws}? (yes, or another pulse, such as {shown})")
            if answer.lower() == "yes":
                return present
            try:
                present = check_pulse(quantities.parse_as(answer, TIME))
            except (QuantityError, CalibrationError) as error:
                self._lines.say(str(error))
            else:
                attempt(present)


def _no_check(value: float) -> None:
    """Take any value."""


def _at_most_a_turn(angle: float) -> None:
    if abs(angle) > 2.0 * math.pi:
        raise CalibrationError("a heading lies between -360 deg and 360 deg")


def _check_near(distance: float, wanted: float) -> None:
    if not 0.5 * wanted <= distance <= 1.5 * wanted:
        raise CalibrationError(f"{distance:g} m is not about {wanted:g} m: look at the unit and at the ruler again")


def _check_air(celsius: float) -> None:
    if not -20.0 <= celsius <= 50.0:
        raise CalibrationError("the air's temperature must lie between -20 degC and 50 degC")
