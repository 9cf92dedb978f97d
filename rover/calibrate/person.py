"""The person beside the robot as calibration's assistant, with tape, ruler and eyes."""

import math
from collections.abc import Callable

from rover import quantities
from rover.calibrate.apparatus import check_length, check_moved, check_return
from rover.calibrate.findings import CalibrationError
from rover.calibrate.gripper import check_pulse
from rover.devices.range.keys import AIR
from rover.quantities import ANGLE, LENGTH, TEMPERATURE, TIME, Dimension, QuantityError
from rover.readiness.person import Person


class HumanAssistant:
    """Has a person measure, and again until it can be meant (see `rover.calibrate.apparatus.Assistant`).

    Args:
        person: who is asked.
        meanwhile: see `rover.readiness.person.Person`.
    """

    def __init__(self, person: Person, meanwhile: Callable[[], object] | None = None) -> None:
        self._person, self._meanwhile = person, meanwhile

    def _ask(self, question: str) -> str:
        return self._person.ask(question, self._meanwhile)

    def _quantity(self, question: str, dimension: Dimension, check: Callable[[float], object] = float) -> float:
        while (value := self._person.quantity(question, dimension, check, self._meanwhile)) is None:
            pass
        return value

    def ready(self, what: str) -> None:
        """Ask to do something."""
        self._ask(f"{what}; then press Enter")

    def length(self, expected: float) -> float:
        """Ask for the tape's length."""
        question = "how far has it gone from the mark, by tape? (such as 1.985 m)"
        return self._quantity(question, LENGTH, lambda value: check_length(value, expected))

    def return_error(self, side: float) -> tuple[float, float]:
        """Ask for the place it came back to."""
        return self._place("it", lambda x, y: check_return(x, y, side))

    def moved(self) -> tuple[float, float]:
        """Ask for the place where its middle stands now."""
        return self._place("its middle", check_moved)

    def _place(self, what: str, check: Callable[[float, float], None]) -> tuple[float, float]:
        while True:
            x = self._quantity(f"how far ahead of the mark does {what} stand? (-12 mm: behind it)", LENGTH)
            y = self._quantity("how far to the left of the mark? (-12 mm: to the right)", LENGTH)
            try:
                check(x, y)
            except CalibrationError as error:
                self._person.tell(str(error))
            else:
                return x, y

    def true_heading(self) -> float:
        """Ask for the heading in which it stands."""
        question = "in which heading does it stand? (counter-clockwise from the field's x axis, such as 90 deg)"
        return self._quantity(
            question, ANGLE, _between(-math.tau, math.tau, "a heading lies between -360 deg and 360 deg")
        )

    def turned_left(self) -> bool:
        """Ask which way it turned."""
        question = "did it turn to its left, counter-clockwise from above?"
        return self._person.choose(question, ("yes", "no"), self._meanwhile) == "yes"

    def wall_distance(self, wanted: float) -> float:
        """Ask to put it before a wall, and for the ruler's distance."""
        question = (
            f"put it square to a smooth wall, the sensor's face about {wanted:g} m away; how far is it by the ruler?"
        )
        why = f"{{:g}} m is not about {wanted:g} m: look at the unit and at the ruler again"
        return self._quantity(question, LENGTH, _between(0.5 * wanted, 1.5 * wanted, why))

    def air_temperature(self) -> float:
        """Ask for the air's temperature."""
        why = "the air's temperature must lie between -20 degC and 50 degC"
        return self._quantity("how warm is the air? (such as 21 degC)", TEMPERATURE, _between(*AIR, why))

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
            answer = self._ask(f"{shown}: are the jaws just {jaws}? (yes, or another pulse, such as {shown})")
            if answer.lower() == "yes":
                return present
            try:
                present = check_pulse(quantities.parse_as(answer, TIME))
            except (QuantityError, CalibrationError) as error:
                self._person.tell(str(error))
            else:
                attempt(present)


def _between(low: float, high: float, why: str) -> Callable[[float], None]:
    """Return the check that a value lies in [low, high]; ``why`` may name the value: ``{:g}``."""

    def check(value: float) -> None:
        if not low <= value <= high:
            raise CalibrationError(why.format(value))

    return check
