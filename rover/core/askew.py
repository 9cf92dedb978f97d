"""A camera that looks aside of where the robot file has it look: a mount that was knocked.

What stands still lies, from wherever it is seen, at one place: camera + sight. Sights that are all turned by one
angle contradict the way that the robot went between them, and turned back by it they fit. The angle is that of the
least-squares fit of one figure, turned and scaled, to another: in the plane a regression of complex numbers
(S. Umeyama, "Least-Squares Estimation of Transformation Parameters Between Two Point Patterns", IEEE Trans. PAMI 13,
1991; from memory). Distances that are all too long, or wheels that slip, change the scale alone; a heading that is off
turns both figures.
"""

import cmath
import math
from collections.abc import Sequence
from typing import NamedTuple

from rover.devices.readings import MARKER, Detection
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
NEAR = 0.3
"""What is nearer (m) may be pushed."""
ONE_THING = 0.2
"""What is seen to be farther (m) from where it was is another one."""
GAP_NS, GAP = 1_000_000_000, 0.15
"""So is what was not seen for so long, or on so long a way (m): a look from afar has no other to be judged by."""
TURNS = math.radians(15.0)
"""While the robot turns faster (rad/s), a frame that comes late is turned as well, and wheels scrub: what is seen
afterwards is followed anew."""


class _Aside(NamedTuple):
    """By how much (rad) the camera looks to the left: 1 over the variance, and the angle times that."""

    weight: float
    weighted: float

    def with_earlier(self, earlier: "_Aside") -> "_Aside":
        """Return both together."""
        return _Aside(self.weight + KEPT * earlier.weight, self.weighted + KEPT * earlier.weighted)

    @property
    def angle(self) -> float:
        """The angle (rad), 0 where nothing is told."""
        return self.weighted / self.weight if self.weight > 0.0 else 0.0

    @property
    def is_plain(self) -> bool:
        """It surely looks aside."""
        return abs(self.angle) > ASIDE and abs(self.angle) > ASIDE + SIGMAS / math.sqrt(self.weight)


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

    def goes_on(self, camera: complex, place: complex, taken_ns: int) -> bool:
        """Tell whether what is seen now at a place is surely the same, and seen soon after."""
        is_same = abs(place - self.place) <= ONE_THING
        return is_same and taken_ns - self.seen_ns <= GAP_NS and abs(camera - self.camera) <= GAP

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
        noise = max(NOISE, math.sqrt(unexplained / (2 * self.looks - 4)))
        weight = 1.0 / (ALIKE * ALIKE + noise * noise / of_sights)
        return _Aside(weight, weight * angle)


class Askew:
    """Follows what is seen alone of its kind while the robot goes past it, or up to it.

    Args:
        ahead: of the camera before the robot's middle (m).

    Attributes:
        astray: how far (m) off a position may be that was fixed by the tray's marker, once something is wrong.
    """

    def __init__(self, ahead: float) -> None:
        self._ahead = ahead
        self._middle, self._way = 0j, 0.0
        self._heading, self._seen_ns = 0.0, 0
        self._things: dict[str, _Thing] = {}
        self._earlier = NOTHING
        self.astray = self._marker_from = 0.0

    def begin(self) -> None:
        """Follow all anew: nobody knows where the robot went."""
        for thing in self._things.values():
            self._keep(thing)
        self._things.clear()

    def _keep(self, thing: _Thing | None) -> None:
        """Keep what a thing has told that is not followed any more."""
        if thing is not None and (told := thing.tells()).weight:
            self._earlier = told.with_earlier(self._earlier)

    def move(self, way: float) -> None:
        """Account for the robot's way (m) by its counts, backwards negative."""
        self._way += way

    def see(self, objects: Sequence[Detection], heading: float, taken_ns: int) -> str:
        """Take in what a frame shows, where nothing is held before the camera; return what is wrong with it, or ''.

        ``heading`` is what is believed of the robot's (rad) when the frame was taken.
        """
        turned, seconds = wrap(heading - self._heading), (taken_ns - self._seen_ns) * 1e-9
        self._middle += cmath.rect(self._way, heading - 0.5 * turned)
        self._heading, self._seen_ns, self._way = heading, taken_ns, 0.0
        if abs(turned) > TURNS * seconds:
            self.begin()
            return ""
        camera = self._middle + cmath.rect(self._ahead, heading)
        kinds = [one.kind for one in objects]
        for one in objects:
            if one.kind == MARKER:
                self._marker_from = one.distance
            if kinds.count(one.kind) == 1 and one.distance > NEAR:
                thing = self._follow(one.kind, camera, cmath.rect(one.distance, heading + one.bearing), taken_ns)
                self._things[one.kind] = thing
                if said := self._judge(thing):
                    return said
        return ""

    def _follow(self, kind: str, camera: complex, sight: complex, taken_ns: int) -> _Thing:
        """Return what is known of a thing with this look at it, or of another that has come in its place."""
        thing, place = self._things.get(kind), camera + sight
        if thing is None or not thing.goes_on(camera, place, taken_ns):
            self._keep(thing)
            thing = _Thing(camera, taken_ns, camera, place)
        if thing.looks and abs(camera - thing.camera) < STEP:
            return thing._replace(seen_ns=taken_ns, place=place)
        return thing.seen(camera, sight, taken_ns)

    def _judge(self, thing: _Thing) -> str:
        told = thing.tells()
        for aside in (told, told.with_earlier(self._earlier)) if told.weight else ():
            if aside.is_plain:
                self.astray = abs(aside.angle) * self._marker_from
                side = "left" if aside.angle > 0.0 else "right"
                angle = math.degrees(abs(aside.angle))
                return f"looks {angle:.0f} deg to the {side} of where it should: was it knocked?"
        return ""
