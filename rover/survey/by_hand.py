"""Surveying while jogging: capital letters set marks where the robot stands, all others drive."""

from collections.abc import Callable

from rover.files.robot import Robot
from rover.geometry import Pose
from rover.quantities import si
from rover.session.by_hand import TimedReading
from rover.survey.marks import Floor, Mark, What, floor_of
from rover.survey.track import Track

LETTERS = {"C": What.CORNER, "B": What.WALL, "T": What.TRAY, "M": What.MARKER, "P": What.PLACE}
UNDO = "U"
STILL = si("1 cm")
"""Of way: until then the robot stands where it was set down, and its heading is told better and better."""
HELP = (
    "Marks, capital letters: C corner, T corner of the tray (two across), M marker: the jaws are there; B wall: stand\n"
    "square before it, best at two places; P place and heading; U takes the last mark back. The first corner once\n"
    "more at the end closes the round. Begin where the errand is to start."
)


class Surveyor:
    """Looks on while the robot is jogged.

    Args:
        robot: the robot file.
        say: tells the person a line.

    Attributes:
        marks: in their order.
    """

    def __init__(self, robot: Robot, say: Callable[[str], None]) -> None:
        self._robot, self._say = robot, say
        self._track = Track(robot)
        self.marks: list[Mark] = []
        self._start: Pose | None = None

    def heard(self, readings: list[TimedReading]) -> None:
        """Take in what devices reported."""
        for each in readings:
            self._track.take(each.family, each.reading)
        stand = self._track.stand
        if stand is not None and (self._start is None or stand.travelled < STILL):
            self._start = stand.pose

    def typed(self, keys: bytes) -> None:
        """Take in what was typed: letters that set no mark are for driving."""
        for letter in keys.decode("ascii", "replace"):
            if letter == UNDO:
                self._undo()
            elif letter in LETTERS:
                self._mark(LETTERS[letter])

    @property
    def start(self) -> Pose:
        """Where the robot was set down."""
        return self._start or Pose(0.0, 0.0, 0.0)

    def floor(self) -> Floor:
        """Return the floor that follows from the marks."""
        return floor_of(self.marks, self._robot)

    def _undo(self) -> None:
        self._say(f"taken back: {self.marks.pop().what.value}" if self.marks else "there is no mark to take back")

    def _mark(self, what: What) -> None:
        stand, echo = self._track.stand, self._track.echo
        if stand is None:
            self._say(f"no {what.value} is marked: nothing has told the heading yet")
        elif what is What.WALL and echo is None:
            self._say("no wall is marked: the range finder hears none; go nearer and stand square before it")
        else:
            self.marks.append(Mark(what, stand, echo or 0.0))
            number = sum(mark.what is what for mark in self.marks)
            at = f"x {stand.pose.x:.2f} m, y {stand.pose.y:.2f} m, +- {196 * stand.sigma:.0f} cm"
            self._say(f"{what.value} {number} marked; the robot's middle is at {at}")
