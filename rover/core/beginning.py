"""Where a run begins: at the errand's start, or where an earlier run left off."""

import math
from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Knowledge
from rover.activities.fixing import SightMarker
from rover.behaviour.vocabulary import Progress
from rover.core.stopping import Stopping
from rover.estimate.covariance import Errors
from rover.estimate.field import Ground
from rover.estimate.pose import PoseFilter
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.motion.request import Request

START_SIGMAS = (0.02, 0.02, math.radians(3.0))
"""How well a person sets the robot down at its start: m, m, rad."""
MOVED_SIGMAS = (0.10, 0.10, math.radians(8.0))
"""How far changing the battery may have moved it from where it stood: m, m, rad."""
ERROR_GROWTH = 1e-4
"""Metres of variance per metre travelled by a wheel, for odometry on a hard floor."""
TURN_CENTRE_STATED, TURN_CENTRE_GUESSED = (0.005, 0.005), (0.025, 0.015)
"""How well the turn centre is known, ahead and left (m): where the file states it, it moves with the load; where not,
it is taken to be in the middle. It lies 1 to 5 cm off that, mostly lengthwise (A. Mandow and others, "Experimental
kinematics for wheeled skid-steer mobile robots", 2007; from memory)."""
NO_FIX = "the tray's marker was not sighted; set the robot down where it sees the marker, then reset and resume"


def can_sight_marker(robot: Robot, ground: Ground) -> bool:
    """Tell whether the tray has a marker and the robot a camera to see it."""
    return ground.marker is not None and robot.devices.camera is not None


def pose_filter(
    robot: Robot, errand: Errand, saved: Mapping[str, Any] | None, make: type[PoseFilter] = PoseFilter
) -> PoseFilter:
    """Return the pose filter of a run that begins at the errand's start, or where ``saved`` says an earlier one ended.

    Raises:
        KeyError, TypeError, ValueError: ``saved`` is not what `Core.saved` returned.
    """
    start, heading = errand.field.start, robot.devices.heading
    pose, sigmas = Pose(start.x, start.y, start.heading or 0.0), START_SIGMAS
    if saved is not None:
        pose = Pose(*map(float, saved["pose"]))
        sx, sy, st = (math.hypot(float(then), moved) for then, moved in zip(saved["sigmas"], MOVED_SIGMAS, strict=True))
        sigmas = (sx, sy, st)
    body = robot.body
    errors = Errors(
        sigmas,
        ERROR_GROWTH,
        heading.sigma if heading else 1.0,
        errand.field.heading_error,
        heading.drift if heading else 0.0,
        body.metres_per_count,
        TURN_CENTRE_STATED if body.states_turn_centre else TURN_CENTRE_GUESSED,
    )
    return make(pose, body.effective_track, errors, body.turn_centre)


class FirstFix:
    """Sights the marker before the behaviour begins; without it the robot stops, and tries again once resumed.

    Attributes:
        is_due: the marker has not been sighted yet.
    """

    def __init__(self, is_due: bool) -> None:
        self.is_due = is_due
        self._sighting: SightMarker | None = None

    def step(self, known: Knowledge, stopping: Stopping) -> Request:
        """Return what is wanted in order to sight it."""
        if self._sighting is None:
            self._sighting = SightMarker(known, {})
        request = self._sighting.step(known)
        if self._sighting.progress is Progress.DONE:
            self.is_due = False
            known.note("fix", f"by the marker: sigma now {known.filter.position_doubt.worst:.3f} m")
        elif self._sighting.progress is Progress.FAILED:
            self._sighting = None
            stopping.stop(NO_FIX)
        return request
