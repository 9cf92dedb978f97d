"""Parts of the core that may be others than the usual ones: a rehearsal without one of them shows what it is worth."""

from typing import NamedTuple

from rover.core.targeting import TargetChoice
from rover.estimate.pose import PoseFilter


class Parts(NamedTuple):
    """What makes the pose filter, and what chooses between targets."""

    pose_filter: type[PoseFilter] = PoseFilter
    target_choice: type[TargetChoice] = TargetChoice


USUAL = Parts()
