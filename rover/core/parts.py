"""Parts of the core that may be others than the usual ones: a rehearsal without one of them shows what it is worth."""

from typing import NamedTuple

from rover.core.cross_checks import CrossChecks
from rover.core.targeting import TargetChoice
from rover.estimate.pose import PoseFilter


class Parts(NamedTuple):
    """What makes the pose filter, what chooses between targets, and what holds sensors against each other."""

    pose_filter: type[PoseFilter] = PoseFilter
    target_choice: type[TargetChoice] = TargetChoice
    cross_checks: type[CrossChecks] = CrossChecks


USUAL = Parts()
