"""Carries activities out for the engine; a fault in one ends it as failed and is recorded (R12)."""

import random
import traceback
from collections.abc import Mapping
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.behaviour.engine import Engine
from rover.behaviour.model import StateNode
from rover.behaviour.vocabulary import Progress
from rover.errors import in_words
from rover.events import Note
from rover.motion.request import STILL, Request

SAYS_NOTHING = "the activity does not say why; end it with fail('...')"


class ActivityPerformer:
    """Carries the present activity out for the engine."""

    def __init__(self, known: Knowledge, activities: Mapping[str, type[Activity]], seed: int) -> None:
        self._known = known
        self._activities = activities
        self._seed = seed
        self._activity: Activity | None = None
        self._failed = ""

    def begin(self, state: StateNode, values: Mapping[str, Any], entry: int) -> None:
        """Make the state's activity; its random draws depend on seed, state and entry alone."""
        self._known.held_back_for = 0.0  # what held the last one back has not yet held this one
        self._known.is_stalled = False
        self._known.random = random.Random(f"{self._seed}/{state.path}/{entry}")
        self._failed = ""
        try:
            self._activity = self._activities[state.activity or ""](self._known, values)
        except Exception as error:
            self._failed = self._fail(state.path, error)

    def cancel(self) -> None:
        """Drop the activity."""
        self._activity = None
        self._failed = ""

    def time_out(self, why: str) -> None:
        """Count a state that is left by time as a trouble with the target."""
        self._known.trouble(why)

    def step(self, engine: Engine) -> Request:
        """Step the activity and tell the engine when it has ended."""
        if self._failed:
            engine.fail(self._failed)
            self._failed = ""
            return STILL
        activity = self._activity
        if activity is None:
            return STILL
        request = STILL
        if activity.progress == Progress.UNDER_WAY:
            try:
                request = activity.step(self._known)
                if not isinstance(request, Request):
                    raise TypeError(f"an activity's step returns a Request, and this one returned {request!r}")
                if request.outputs:
                    self._known.outputs.set(request.outputs)
            except Exception as error:
                engine.fail(self._fail(engine.path, error))
                return STILL
        if activity.progress != Progress.UNDER_WAY:
            self._end(activity, engine)
            return STILL._replace(jaws=request.jaws)
        return request

    def _end(self, activity: Activity, engine: Engine) -> None:
        self._activity = None
        if activity.progress == Progress.DONE:
            engine.done()
            return
        why = str(getattr(activity, "why", "") or SAYS_NOTHING)  # a user's own may set both itself, to anything
        self._known.note("activity", f"{engine.path} failed: {why}")
        self._known.trouble(why)
        engine.fail(why)

    def _fail(self, path: str, error: Exception) -> str:
        self._activity = None
        self._known.events.append(Note("fault", f"activity of '{path}' raised:\n{traceback.format_exc()}"))
        why = f"its code raised {in_words(error)}"
        self._known.trouble(why)
        return why
