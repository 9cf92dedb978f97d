"""The outputs of one's own as the core sees them, and the activity that sets them."""

from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Deed, Knowledge
from rover.behaviour.vocabulary import ActivitySpec


class SetOutputs(Deed):
    """Sets outputs at once; they keep their values until they are set again, or the robot may not move."""

    spec = ActivitySpec("set outputs of your own at once: `with: {lamp: 100 %}`", can_fail=False, of_outputs=True)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        known.outputs.set(values)
