"""Activities that drive straight: runs forwards and backwards."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Activity, Knowledge
from rover.behaviour.vocabulary import ActivitySpec, Parameter
from rover.kinds import Choice, Number
from rover.motion.profile import towards
from rover.motion.request import Request
from rover.quantities import wrap

LENGTH, SPEED = Number(quantities.LENGTH), Number(quantities.SPEED)

HEADING_GAIN = 2.5
PATIENCE = 3.0
"""Seconds of being held back after which a straight run has failed."""
HELD = 1.0
"""Held back for so long (s) by what is in the way, the robot is jammed."""


def why_give_up(known: Knowledge, patience: float = math.inf) -> str:
    """Return why driving on is of no use: held back for longer than ``patience`` (s), or stalled; else ''."""
    if known.held_back_for > patience:
        return f"held back for {patience:.0f} s"
    return "the wheels are driven and do not turn" if known.is_stalled else ""


class Driving(Activity):
    """What activities that drive have in common: they end as failed when driving on is of no use."""

    def drive(self, known: Knowledge, request: Request, patience: float = math.inf) -> Request:
        """Return the request; fail if it is of no use, held back for longer than ``patience`` (s) or stalled."""
        if why := why_give_up(known, patience):
            self.fail(why)
        return request


def drawn(known: Knowledge, values: Mapping[str, Any], name: str) -> float:
    """Return a parameter, or a seeded random value between it and ``up_to`` where that is given."""
    least, most = values[name], values.get("up_to")
    return float(least if most is None else known.random.uniform(least, most))


class _Run(Driving):
    """A straight run of a set length (m, backwards negative) along the heading it begins with."""

    def __init__(self, known: Knowledge, distance: float, most: float) -> None:
        self._heading = known.pose.heading
        self._start = (known.pose.x, known.pose.y)
        self._distance = distance
        self._most = most

    def to_go(self, known: Knowledge) -> float:
        """Return the signed length (m) still to go along the run's line."""
        dx, dy = known.pose.x - self._start[0], known.pose.y - self._start[1]
        return self._distance - (dx * math.cos(self._heading) + dy * math.sin(self._heading))

    def step(self, known: Knowledge) -> Request:
        """Keep the heading, and slow down towards the end."""
        left = self.to_go(known)
        if left * self._distance <= 0.0 or abs(left) < 0.008:
            return self.done()
        speed = towards(left, self._most, 0.7 * known.robot.limits.deceleration)
        return self.drive(known, Request(speed, HEADING_GAIN * wrap(self._heading - known.pose.heading)), PATIENCE)


_RUN = {
    "length": Parameter(LENGTH, "how far", required=True, positive=True),
    "up_to": Parameter(LENGTH, "with it, a random length between 'length' and this", positive=True),
    "speed": Parameter(SPEED, "at most this fast; default: the robot's limit", positive=True),
}


class RunStraight(_Run):
    """Drives forward by a length."""

    spec = ActivitySpec("drive straight forward by a length", _RUN, ("drive", "counts"))

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        most = values.get("speed", known.robot.limits.speed)
        super().__init__(known, drawn(known, values, "length"), most)


class Reverse(_Run):
    """Drives backwards by a length."""

    spec = ActivitySpec(
        "drive straight backwards by a length",
        _RUN | {"jaws": Parameter(Choice(frozenset({"open", "closed", "as_they_are"})), "what the jaws do meanwhile")},
        ("drive", "counts"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        most = values.get("speed", 0.6 * known.robot.limits.speed)
        super().__init__(known, -drawn(known, values, "length"), most)
        self._jaws = {"open": 1.0, "closed": 0.0}.get(values.get("jaws", "as_they_are"))

    def step(self, known: Knowledge) -> Request:
        """As a straight run, with the jaws as asked."""
        return super().step(known)._replace(jaws=self._jaws)


class DriveOn(Driving):
    """Drives forward along the present heading until the state is left."""

    spec = ActivitySpec(
        "drive straight forward until the state is left",
        {"speed": Parameter(SPEED, "at most this fast; default: half the robot's limit", positive=True)},
        ("drive", "counts"),
        ends=False,
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        self._heading = known.pose.heading
        self._speed = values.get("speed", 0.5 * known.robot.limits.speed)

    def step(self, known: Knowledge) -> Request:
        """Keep the heading."""
        return self.drive(known, Request(self._speed, HEADING_GAIN * wrap(self._heading - known.pose.heading)))
