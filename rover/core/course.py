"""Whether the wheels carry a load that does not change: on a straight, or in a turn on the spot.

In an arc the wheels of a skid-steer base scrub sideways: the ground pushes the inner side on and holds the outer one
back, by more or less, as its bend is. On a straight nothing does, and in a turn on the spot all does all the time.
"""

STRAIGHT, SPIN, ARC = 0, 1, 2
STEADY = (STRAIGHT, SPIN)
"""Courses on which a duty makes what it made before."""
WITH = 0.8
"""On a straight the slower side is told this share of the other's speed; where there is a heading, it turns by less
than the counts would make of that."""
AGAINST = 0.5
"""So in a turn on the spot."""
JUDGED_WAY = 0.05
"""The heading is held against so much way (m)."""
UNHEARD_WAY = 0.2
"""A heading that tells nothing for so long a way (m) does not say that the robot goes straight."""


class Course:
    """Tells on which course the robot is: straight is what the heading tells to be so, where one is there.

    Args:
        track: geometric (m).
        has_heading: the robot has a sensor that tells its turn.
    """

    def __init__(self, track: float, *, has_heading: bool) -> None:
        self._track, self._has_heading = track, has_heading
        self._told = self._course = ARC
        self._way = self._turned = 0.0

    def tell(self, left: float, right: float) -> None:
        """Take in what the sides are told (m/s)."""
        slow, fast = sorted((abs(left), abs(right)))
        if left * right < 0.0:
            told = SPIN if slow >= AGAINST * fast else ARC
        else:
            told = STRAIGHT if self._has_heading or slow >= WITH * fast > 0.0 else ARC
        if told != self._told:
            self._told = told
            self._course = ARC if told == STRAIGHT and self._has_heading else told
            self._way = self._turned = 0.0

    def move(self, left: float, right: float, turned: float | None) -> int:
        """Take in ways (m), and the turn (rad) that the heading has told, None where it has not; return the course."""
        if self._told != STRAIGHT or not self._has_heading:
            return self._told
        self._way += 0.5 * abs(left + right)
        self._turned += turned or 0.0
        if turned is not None and self._way >= JUDGED_WAY:
            is_straight = abs(self._turned) * self._track <= (1.0 - WITH) * self._way
            self._course = STRAIGHT if is_straight else ARC
            self._way = self._turned = 0.0
        elif self._way > UNHEARD_WAY:
            self._course = ARC
        return self._course
