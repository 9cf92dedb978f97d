"""The loop of a run, whoever hosts it: a step's readings, `Core.step`, commands out, all of it recorded.

Read `run` from top to bottom; what differs from the bench to the robot is a `Host`.
"""

from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Protocol

from rover.core import Core, StepReadings, StepRecord
from rover.events import Event, TrackPoint
from rover.session.hard_end import last_words, note_closing
from rover.session.recorder import RunRecorder
from rover.session.result import Result, ShowProgress

PROGRESS_EVERY_NS = 2_000_000_000

Tell = Callable[[Event, float, TrackPoint, int], None]
"""Called in the loop's thread with each event, the robot time (s) since the run began, where the robot believes to be,
and how many objects are delivered; it must not wait."""


def to_nobody(event: Event, seconds: float, point: TrackPoint, delivered: int) -> None:
    """Tell nobody."""


class Host(Protocol):
    """Where the core is run: it gives each step its time and readings, and takes the commands.

    A host that inherits from this writes `next_step` and `why_ended`; the rest does nothing by default.
    """

    @property
    def why_ended(self) -> str:
        """Why there was no next step, for the result."""

    @property
    def status(self) -> str:
        """What the robot is at, for the progress line."""
        return ""

    def next_step(self) -> StepReadings | None:
        """Wait until the next step is due, and return all that it sees; None ends the run."""

    def apply(self, decided: StepRecord) -> None:
        """Pass on what the step decided, at once."""

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Do what else is to be done in a step, once it is recorded."""

    def close(self) -> None:
        """Bring the wheels to zero and let go of the devices; called however the run ends."""


def run(core: Core, host: Host, recorder: RunRecorder, progress: ShowProgress, tell: Tell = to_nobody) -> Result:
    """Step until the errand or its host ends, then close the host, finish the record and sum up.

    Whatever is raised is recorded, the devices closed by then, and raised again.
    """
    try:
        with last_words(recorder.cut), closing(host):
            try:
                _loop(core, host, recorder, progress, tell)
            finally:
                note_closing()
    except BaseException as error:
        recorder.fail(error)
        raise
    ending = core.engine.ending
    return recorder.finish(*(("stopped", host.why_ended) if ending is None else (ending.result, ending.reason)))


def steps(core: Core, host: Host) -> Iterator[tuple[StepReadings, StepRecord]]:
    """Step until the errand or its host ends; yield what each step was given and decided, its commands passed on."""
    while core.engine.ending is None and (given := host.next_step()) is not None:
        decided = core.step(given)
        host.apply(decided)
        yield given, decided
        host.after_step(given, decided)


def _loop(core: Core, host: Host, recorder: RunRecorder, progress: ShowProgress, tell: Tell) -> None:
    progress_ns = 0
    for given, decided in steps(core, host):
        recorder.take(given, decided)
        for event in decided.events:
            tell(event, recorder.seconds, core.track_point(), recorder.delivered)
        if given.now_ns >= progress_ns:
            progress_ns = given.now_ns + PROGRESS_EVERY_NS
            progress(recorder.seconds, host.status, recorder.delivered)
