"""Turning on the spot: the part of other activities that turns, and the activity."""

import math
from collections.abc import Mapping
from typing import Any

from rover import quantities
from rover.activities.activity import Knowledge
from rover.activities.driving import PATIENCE, Driving, drawn
from rover.activities.places import heard_standing
from rover.behaviour.vocabulary import ActivitySpec, Parameter
from rover.kinds import Number
from rover.motion.limits import gentle_speed
from rover.motion.profile import turning
from rover.motion.request import STILL, Request
from rover.quantities import wrap

ANGLE, TURN_RATE = Number(quantities.ANGLE), Number(quantities.TURN_RATE)
BESIDE = 0.03
"""What is no farther than this (m) from the circle that the corners sweep may be nearer than it seems."""
TURNED_ENOUGH = math.radians(2.0)


class TurnTowards:
    """A turn on the spot to a heading; the part of other activities that turns.

    Attributes:
        to_go: the angle (rad, left positive) that was left at the last step.
    """

    def __init__(self, heading: float, most: float) -> None:
        self.heading = heading
        self.to_go = 0.0
        self._most = most
        self._settled = 0

    def request(self, known: Knowledge) -> Request | None:
        """Return what is wanted, or None once the heading is reached and the robot has come to rest."""
        error = self.to_go = wrap(self.heading - known.pose.heading)
        if abs(error) < TURNED_ENOUGH and abs(known.filter.heading_rate) < 0.15:
            self._settled += 1
            return STILL if self._settled < 3 else None
        self._settled = 0
        rate = turning(error, min(self._most, fastest_turn(known)), known.robot.limits.turn_acceleration)
        return Request(0.0, math.copysign(max(abs(rate), 0.15), rate) if abs(error) > TURNED_ENOUGH else 0.0)


def fastest_turn(known: Knowledge) -> float:
    """Return how fast (rad/s) to turn on the spot: no corner touches what may be beside it faster than it may."""
    outline, pose = known.space.outlines[known.loaded], known.pose
    swept = outline.radius + BESIDE + 2.0 * known.filter.position_doubt.worst
    near = known.space.disc_room(pose.x, pose.y) < swept or any(
        math.hypot(one.x - pose.x, one.y - pose.y) < swept for one in known.ledger.obstacles.now(known.now_ns)
    )
    near = near or bool(heard_standing(known, swept))
    return gentle_speed(known.robot.limits) / outline.radius if near else math.inf


class Turn(Driving):
    """Turns on the spot by an angle or to a heading."""

    spec = ActivitySpec(
        "turn on the spot, by an angle or to a heading",
        {
            "by": Parameter(ANGLE, "by this angle, left positive"),
            "to": Parameter(ANGLE, "to this heading in the field"),
            "up_to": Parameter(ANGLE, "with it, a random angle between the one given and this"),
            "rate": Parameter(TURN_RATE, "at most this fast; default: the robot's limit", positive=True),
        },
        ("drive", "counts"),
        one_of=("by", "to"),
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        heading = drawn(known, values, "to") if "to" in values else known.pose.heading + drawn(known, values, "by")
        self._turn = TurnTowards(wrap(heading), values.get("rate", known.robot.limits.turn_rate))

    def step(self, known: Knowledge) -> Request:
        """Turn on."""
        request = self._turn.request(known)
        return self.done() if request is None else self.drive(known, request, PATIENCE)
