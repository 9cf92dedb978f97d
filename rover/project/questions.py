"""What is asked about a robot before its project is written; the usual answers are those of the demo's robot."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from rover.errors import UserError
from rover.quantities import ANGLE, LENGTH, NONE, Dimension, QuantityError, parse_as

LIDS = {
    "red": "[174, 6]",
    "amber": "[14, 30]",
    "green": "[45, 75]",
    "teal": "[82, 98]",
    "blue": "[102, 118]",
    "violet": "[122, 148]",
}
"""Hues as a first guess, on the 8-bit scale of the robot file."""


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes:
        name: of the answer, and of the option that gives it.
        words: as a person is asked.
        usual: the answer where only Enter is typed.
        read: returns the answer as it stands in a file; raises `UserError` for one that cannot be.
    """

    name: str
    words: str
    usual: str
    read: Callable[[str], str]


def _any_text(text: str) -> str:
    if not text.isprintable() or '"' in text or "\\" in text:
        raise UserError("neither quotes nor backslashes here")
    return text


def _path(text: str) -> str:
    if not all(letter.isalnum() or letter in "/._:-?=&@" for letter in text):
        raise UserError("a path or an address is due here, such as /dev/ttyUSB0")
    return text


def _one_of(words: Sequence[str], text: str) -> str:
    if text not in words:
        raise UserError(f"one of {', '.join(words)} is due here")
    return text


def _quantity(dimension: Dimension, text: str, *, positive: bool = True) -> str:
    if parse_as(text, dimension) <= 0.0 and positive:
        raise UserError("more than zero is due here")
    return text


def _field(text: str) -> str:
    sides = text.split(" x ")
    if len(sides) != 2:
        raise UserError("two sides are due here, such as 4 m x 3 m")
    return " x ".join(_quantity(LENGTH, side.strip()) for side in sides)


def _lids(text: str) -> str:
    lids = [lid.strip() for lid in text.split(",")]
    for lid in lids:
        _one_of(list(LIDS), lid)
    return ", ".join(dict.fromkeys(lids))


_length, _angle = partial(_quantity, LENGTH), partial(_quantity, ANGLE, positive=False)
_place = partial(_quantity, LENGTH, positive=False)
_yes_or_no = partial(_one_of, ("yes", "no"))

QUESTIONS = (
    Question("name", "What is the robot called?", "My cart", _any_text),
    Question(
        "motors",
        "Are motors and encoders on a small board (board) or on this computer's own pins (pins)?",
        "board",
        partial(_one_of, ("board", "pins")),
    ),
    Question("port", "On which serial port is the board, or with pins a compass?", "/dev/ttyUSB0", _path),
    Question("wheel", "How wide are the driven wheels across?", "72 mm", _length),
    Question("track", "How far apart are the middles of the left and the right wheels?", "24 cm", _length),
    Question(
        "counts", "How many counts does an encoder give in one turn of its wheel?", "1320", partial(_quantity, NONE)
    ),
    Question("length", "How long is the body, without the jaws?", "24 cm", _length),
    Question("width", "How wide is it, with the wheels?", "26 cm", _length),
    Question(
        "reach", "How far is it from midway between the wheels forward to the middle of a held jar?", "16 cm", _length
    ),
    Question("heading", "Has it a sensor for its heading?", "yes", _yes_or_no),
    Question("range", "Has it a range finder that looks ahead?", "yes", _yes_or_no),
    Question("switch", "Have the jaws a switch that a held jar presses?", "no", _yes_or_no),
    Question("camera", "Where is the camera: its device file, or the address of its stream?", "/dev/video0", _path),
    Question("camera_ahead", "How far ahead of the middle is its lens? Behind it, with a minus.", "-8 cm", _place),
    Question("camera_height", "How high is the lens above the ground?", "22 cm", _length),
    Question("camera_tilt", "By how much does it look down?", "15 deg", _angle),
    Question("lids", f"Which colours have the lids to fetch? Of {', '.join(LIDS)}", "amber, teal, violet", _lids),
    Question("field", "How large is the field?", "4 m x 3 m", _field),
    Question("walled", "Does a wall stand all round it?", "yes", _yes_or_no),
)


def answer(question: Question, text: str) -> str:
    """Return the answer to a question as it stands in a file.

    Raises:
        UserError: it cannot be; the message says which question, and what is due.
    """
    try:
        return question.read(text.strip())
    except (UserError, QuantityError) as error:
        raise UserError(f"{question.name}: '{text}': {error}") from None
