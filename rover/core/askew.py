"""A camera that looks aside of where the robot file has it look: a mount that was knocked.

What stands still lies, from wherever it is seen, at one place: camera + sight. Sights that are all turned by one
angle contradict the way that the robot went between them, and turned back by it they fit. The angle is that of the
least-squares fit of one figure, turned and scaled, to another: in the plane a regression of complex numbers
(S. Umeyama, "Least-Squares Estimation of Transformation Parameters Between Two Point Patterns", IEEE Trans. PAMI 13,
1991; from memory). Distances that are all too long, or wheels that slip, change the scale alone; a heading that is off
all the time turns both figures. One that changes, or a thing that moves, looks like an angle: two things have to tell
the same.
"""

import cmath
import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.devices.readings import Detection
from rover.quantities import wrap

ASIDE = math.radians(5.0)
"""So far aside no robot file has its camera, and jaws miss what it sees..."""
SIGMAS = 3.0
"""... and so many standard deviations of what one thing tells, or several."""
ALIKE = math.radians(1.0)
"""All sights of one thing may err by so much together (standard deviation)."""
KEPT = 0.8
"""What earlier things told counts for this share less with each further one."""
LOOKS, SPREAD = 8, 0.4
"""A thing tells from so many places on, so far (m) from one another at the most."""
STEP = 0.02
"""From nearer than this (m) to the last place, what is seen errs alike."""
NOISE = 0.01
"""Where a thing is seen to be is off by at least this (m, standard deviation)."""
TIMES = 0.6, 1.7
"""The robot comes so many times nearer as what it sees does; else wheels spin, or somebody moves the thing..."""
MOST = math.radians(60.0)
"""... and so does what would be seen farther aside than this."""
BEFORE_JAWS = 0.1
"""What is so near (m) to the jaws' tips may be pushed."""
ONE_THING, ONE_BEARING = 0.2, math.radians(2.5)
"""What is seen to be farther (m) from where it was, or aside by more (rad) than one frame's error, is another one."""
GAP_NS, GAP = 1_000_000_000, 0.15
"""So is what was not seen for so long, or on so long a way (m): a look from afar has no other to be judged by."""
TURNS = math.radians(15.0)
"""While the robot turns faster (rad/s), a frame that comes late is turned as well, and wheels scrub: what is seen
afterwards is followed anew."""


class Verdict(NamedTuple):
    """What is wrong, and by which angle (rad) sights are turned."""

    why: str
    turned: float


class _Aside(NamedTuple):
    """By how much (rad) the camera looks to the left: 1 over the variance, and the angle times that."""

    weight: float
    weighted: float

    def faded(self) -> "_Aside":
        """Return the same, less sure."""
        return _Aside(KEPT * self.weight, KEPT * self.weighted)

    def plus(self, other: "_Aside") -> "_Aside":
        """Return both together."""
        return _Aside(self.weight + other.weight, self.weighted + other.weighted)

    def beside(self, other: "_Aside") -> "_Aside":
        """Return both together where they err alike: frames that show both are off by the same pitch."""
        return _Aside(0.5 * (self.weight + other.weight), 0.5 * (self.weighted + other.weighted))

    @property
    def angle(self) -> float:
        """The angle (rad), 0 where nothing is told."""
        return self.weighted / self.weight if self.weight > 0.0 else 0.0

    @property
    def is_plain(self) -> bool:
        """It surely looks aside."""
        return self.weight > 0.0 and abs(self.angle) > ASIDE + SIGMAS / math.sqrt(self.weight)

    def agrees(self, other: "_Aside") -> bool:
        """Tell whether both tell of an angle to the same side."""
        return self.angle * other.angle > 0.0 and min(abs(self.angle), abs(other.angle)) > 0.5 * ASIDE


NOTHING = _Aside(0.0, 0.0)


class _Thing(NamedTuple):
    """One thing: when and from where it was seen last, and sums over its sights and from where they were.

    Places and ways (m) are complex numbers, in the frame of the robot's own way.
    """

    first: complex
    seen_ns: int
    camera: complex
    place: complex
    looks: int = 0
    far: float = 0.0
    cameras: complex = 0j
    sights: complex = 0j
    cameras_squared: float = 0.0
    sights_squared: float = 0.0
    products: complex = 0j

    def seen(self, camera: complex, sight: complex, taken_ns: int) -> "_Thing":
        """Return it with one look more."""
        way = camera - self.first
        return _Thing(
            self.first,
            taken_ns,
            camera,
            camera + sight,
            self.looks + 1,
            max(self.far, abs(way)),
            self.cameras + way,
            self.sights + sight,
            self.cameras_squared + abs(way) ** 2,
            self.sights_squared + abs(sight) ** 2,
            self.products + way * sight.conjugate(),
        )

    def goes_on(self, camera: complex, sight: complex) -> bool:
        """Tell whether what is seen now is surely the same, and from near enough."""
        moved = (camera + sight - self.place) / sight  # along the line of sight, and across it
        is_same = abs(moved * sight) <= ONE_THING and abs(moved.imag) <= ONE_BEARING
        return is_same and abs(camera - self.camera) <= GAP

    def tells(self) -> "_Aside":
        """Return what it tells of where the camera looks; nothing before it was seen often enough."""
        if self.looks < LOOKS or self.far < SPREAD:
            return NOTHING
        of_sights = self.sights_squared - abs(self.sights) ** 2 / self.looks
        of_cameras = self.cameras_squared - abs(self.cameras) ** 2 / self.looks
        product = self.products - self.cameras * self.sights.conjugate() / self.looks
        if of_sights <= 0.0:
            return NOTHING
        times, angle = abs(product) / of_sights, cmath.phase(-product)
        if not TIMES[0] < times < TIMES[1] or abs(angle) > MOST:
            return NOTHING
        unexplained = max(0.0, of_cameras - abs(product) ** 2 / of_sights)
        noise = max(NOISE, math.sqrt(unexplained / (self.looks - 2)))  # nearly all of it is along the sight
        weight = 1.0 / (ALIKE**2 + (noise / times) ** 2 / of_sights)
        return _Aside(weight, weight * angle)


class Askew:
    """Follows what is seen alone of its kind while the robot goes past it, or up to it.

    Args:
        ahead: of the camera before the robot's middle (m).
        reach: of the jaws' tips before it (m).
    """

    def __init__(self, ahead: float, reach: float) -> None:
        self._ahead, self._near = ahead, reach - ahead + BEFORE_JAWS
        self._middle, self._way = 0j, 0.0
        self._heading, self._seen_ns = 0.0, 0
        self._things: dict[str, _Thing] = {}
        self._last = self._earlier = NOTHING

    def begin(self) -> None:
        """Follow all anew: nobody knows where the robot went."""
        self._end(*self._things)

    def move(self, way: float) -> None:
        """Account for the robot's way (m) by its counts, backwards negative."""
        self._way += way

    def see(self, objects: Sequence[Detection], heading: float, taken_ns: int) -> Verdict | None:
        """Take in what a frame shows, where nothing is held before the camera; return what is wrong with it.

        ``heading`` is what is believed of the robot's (rad) when the frame was taken.
        """
        turned, seconds = wrap(heading - self._heading), (taken_ns - self._seen_ns) * 1e-9
        self._middle += cmath.rect(self._way, heading - 0.5 * turned)
        self._heading, self._seen_ns, self._way = heading, taken_ns, 0.0
        if abs(turned) > TURNS * seconds:
            self.begin()
            return None
        self._end(*(kind for kind, thing in self._things.items() if taken_ns - thing.seen_ns > GAP_NS))
        camera = self._middle + cmath.rect(self._ahead, heading)
        kinds = [one.kind for one in objects]
        for one in objects:
            if kinds.count(one.kind) > 1:
                self._end(one.kind)
            elif one.distance > self._near:
                sight = cmath.rect(one.distance, heading + one.bearing)
                self._follow(one.kind, camera, sight, taken_ns)
                if verdict := self._judge(one.kind):
                    return verdict
        return None

    def _follow(self, kind: str, camera: complex, sight: complex, taken_ns: int) -> None:
        """Take in a look at a thing, or at another that has come in its place."""
        thing, place = self._things.get(kind), camera + sight
        if thing is None or not thing.goes_on(camera, sight):
            self._end(kind)
            thing = _Thing(camera, taken_ns, camera, place)
        if thing.looks and abs(camera - thing.camera) < STEP:
            self._things[kind] = thing._replace(seen_ns=taken_ns, place=place)
        else:
            self._things[kind] = thing.seen(camera, sight, taken_ns)

    def _end(self, *kinds: str) -> None:
        """Follow things no more, and keep what they have told."""
        for thing in [self._things.pop(kind) for kind in kinds if kind in self._things]:
            if (told := thing.tells()).weight:
                self._last, self._earlier = told, told.plus(self._earlier.faded())

    def _judge(self, kind: str) -> Verdict | None:
        """Hold what a thing tells together with another, or with all before it."""
        told = self._things[kind].tells()
        others = [thing.tells() for other, thing in self._things.items() if other != kind] if told.weight else []
        beside = [(other, told.beside(other)) for other in others]
        for other, aside in (*beside, *((other, told.plus(other)) for other in (self._last, self._earlier))):
            if told.agrees(other) and aside.is_plain:
                side, angle = "left" if aside.angle > 0.0 else "right", abs(aside.angle)
                where = f"{math.degrees(angle):.0f} deg to the {side} of where it should"
                return Verdict(f"looks {where}: was it knocked?", angle)
        return None
