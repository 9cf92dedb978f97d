"""What a run on the robot leaves behind: the record with all that the core was given, the saved state, the result."""

import json
import time
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rover.core import Core, StepReadings, StepRecord
from rover.devices.readings import Reading
from rover.estimate.ellipse import ellipse_95
from rover.events import Delivery, Event, Find, Note
from rover.readiness.before_start import is_synchronised
from rover.record.frames import CameraFrames, without_picture
from rover.record.writer import RunRecord
from rover.session.assembly import Assembly
from rover.session.header import TRACK_EVERY, errand_header
from rover.session.result import FindReport, Result
from rover.session.saved_state import StateKeeper, path_beside

Row = tuple[str, Reading]


class Recorder:
    """Takes every step in.

    Besides the devices' readings, the record has under the names ``operator`` (actions), ``driver`` (drivers that gave
    up) and ``loop`` (a step in which nothing else came in) all that the core was given, so that a replay can give it
    the same again. Frames of the ``camera``, where there is one, are kept beside it.

    Attributes:
        delivered: objects set down so far.
        folder: where the record is.

    Raises:
        RecordError: the record cannot be made.
    """

    def __init__(self, core: Core, assembly: Assembly, path: Path, header: Mapping[str, str], camera: Any) -> None:
        self.delivered = len(core.known.ledger.delivered)
        self.folder = path.parent
        self._core, self._assembly, self._path = core, assembly, path
        self._record = RunRecord.create(path, header)
        self._frames = CameraFrames(path, camera)
        self._keeper = StateKeeper(path_beside(path), assembly.errand.errand)
        self._point = core.track_point()
        self._finds: list[FindReport] = []
        self._steps = self._others = 0
        self._began_ns: int | None = None
        self._latest_ns = 0

    def take(self, given: StepReadings, decided: StepRecord) -> None:
        """Record a step: what the core was given, what it decided."""
        now_ns = given.now_ns
        self._began_ns = now_ns if self._began_ns is None else self._began_ns
        self._latest_ns = now_ns
        self._record.readings(now_ns, self._rows(given))
        self._frames.take(given.new)
        if self._steps % TRACK_EVERY == 0:
            self._point = self._core.track_point()
            self._record.step(now_ns, self._point, (decided.drive.left, decided.drive.right))
        for event in decided.events:
            self._take_event(now_ns, event)
        if decided.events:
            self._keeper.keep(self._core.saved(self._point))
        self._steps += 1

    def note(self, kind: str, text: str) -> None:
        """Record something that a person would want to read afterwards."""
        self._record.event(self._latest_ns, Note(kind, text))

    def _rows(self, given: StepReadings) -> list[Row]:
        others: list[tuple[str, Any]] = [("operator", action) for action in given.actions]
        others += [("driver", fault) for fault in given.faults]
        if not given.new and not others:
            others = [("loop", None)]
        rows = [(family, without_picture(reading)) for family, reading in given.new]
        for name, value in others:
            self._others += 1
            rows.append((name, Reading(given.now_ns, self._others, value)))
        return rows

    def _take_event(self, now_ns: int, event: Event) -> None:
        self._record.event(now_ns, event)
        if isinstance(event, Find):
            ellipse = ellipse_95(event.xx, event.xy, event.yy)
            self._finds.append(FindReport(event.kind, event.x, event.y, None, None, ellipse))
        elif isinstance(event, Delivery):
            self.delivered = event.number

    def fail(self, error: BaseException) -> None:
        """Finish after something that nobody foresaw."""
        text = "".join(traceback.format_exception(error))
        self.note("fault", f"the run was ended by an error:\n{text}")
        self.finish("stopped", type(error).__name__, 0)

    def finish(self, result: str, reason: str, skipped: int) -> Result:
        """Finish record and saved state, and return how the run ended; ``skipped`` steps came too late."""
        for name, count in self._core.refusals.items():
            if count:
                self.note("refused", f"{name}: {count}")
        self._frames.close()
        if self._frames.trouble:
            self.note("fault", self._frames.trouble)
        expected = self._assembly.errand.expect
        summary = {"expected": expected, "delivered": self.delivered, "steps": self._steps, "skipped": skipped}
        self._record.finish(result, reason, summary)
        self._keeper.keep(self._core.saved(self._point), result)
        self._keeper.close()
        seconds = (self._latest_ns - (self._began_ns or self._latest_ns)) * 1e-9
        finds = tuple(self._finds)
        return Result(
            result, reason, self.delivered, expected, finds, None, seconds, seconds, self._steps, str(self._path)
        )

    @property
    def troubles(self) -> tuple[str, ...]:
        """What went wrong with writing, in words for a person."""
        troubles = (self._record.trouble, self._keeper.trouble, self._frames.trouble)
        return tuple(filter(None, troubles))


def run_header(core: Core, assembly: Assembly, seed: int, saved: Mapping[str, Any] | None) -> dict[str, str]:
    """Return the header of a run on the robot, taken up again from ``saved`` or not."""
    here = {"boot": _boot_id(), "clock": json.dumps(_clock_pair())}
    resumed = {} if saved is None else {"resumed": json.dumps(saved)}
    return errand_header(core, assembly, seed, "robot") | here | resumed


def _clock_pair() -> dict[str, object]:
    """Return monotonic and wall time of one moment, and whether the latter can be trusted."""
    return {"monotonic_ns": time.monotonic_ns(), "wall_ns": time.time_ns(), "synchronised": is_synchronised()}


def _boot_id() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except OSError:
        return ""
