"""Activities that stand still: until the state is left, or until the operator answers."""

from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.behaviour.vocabulary import ActivitySpec
from rover.motion.request import STILL, Request


class StandStill(Activity):
    """Stands still until the state is left."""

    spec = ActivitySpec("stand still until the state is left", can_fail=False, ends=False)

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        """Nothing is to be prepared."""

    def step(self, known: Knowledge) -> Request:
        """Want nothing."""
        return STILL


class Ask(Activity):
    """Stands still and waits for the operator's yes or no."""

    spec = ActivitySpec(
        "stand still until the operator answers; done on yes, failed on no", {}, waits_for_operator=True
    )

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        chosen = known.targets.chosen
        known.ask(
            "yes or no" if chosen is None else f"yes or no: {chosen.kind} at x {chosen.x:.2f} m, y {chosen.y:.2f} m"
        )

    def step(self, known: Knowledge) -> Request:
        """Look for the answer."""
        match known.answer:
            case "yes":
                return self.done()
            case "no":
                return self.fail("the operator said no")
        return STILL
