"""What a session leaves behind: its record, and of a run also the saved state and the result."""

import time
import traceback
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rover.core import Core, StepReadings, StepRecord
from rover.core.health import RECORD
from rover.devices.readings import Reading
from rover.errand.entries import Account
from rover.events import BELIEVED, TAKEN_OUT, Delivery, Event, Find, Health, HealthChange, Note, ObjectEvent
from rover.files.robot import RecordKeys
from rover.link.link import Link
from rover.record.folder import tidy
from rover.record.frames import CameraFrames
from rover.record.run import Incident, TrueFigures
from rover.record.writer import RunRecord
from rover.session.aftermath import Aftermath
from rover.session.drivers import Drivers
from rover.session.link_watch import LinkWatch
from rover.session.result import FindReport, Result, report_beside, report_of
from rover.session.saved_state import StateKeeper
from rover.session.truth import TruthKeeper

TRACK_EVERY = 5
"""A track point is recorded every so many steps, ten a second at 50 Hz, and where the errand ends."""


class Recorder:
    """The record of any session, with or without a core; beside it frames, those that ``newest_frame`` returns.

    What the robot file says of records is in ``keys``; before one is made, its folder is tidied. ``began_ns`` is the
    robot time at which the session begins: times are shown from there.

    Attributes:
        tidied: what was done to other records, in sentences.

    Raises:
        RecordError: the record cannot be made.
    """

    def __init__(
        self,
        path: Path,
        header: Mapping[str, str],
        newest_frame: Callable[[], Reading | None],
        keys: RecordKeys,
        began_ns: int,
    ) -> None:
        self.path = path
        header = {**header, "began_ns": str(began_ns), "began_wall_ns": str(time.time_ns())}
        self.tidied = list(tidy(path.parent, keys.keep))
        self._record = RunRecord.create(path, header)
        self._frames = CameraFrames(path, newest_frame, keys)
        self._latest_ns = began_ns

    def readings(self, now_ns: int, rows: Sequence[tuple[str, Reading]]) -> None:
        """Record readings, and keep the frame of one that is among them."""
        self._frames.take(rows)
        self._record.readings(now_ns, rows)

    def event(self, now_ns: int, event: Event) -> None:
        """Record an event."""
        self._latest_ns = now_ns
        self._record.entry(now_ns, event)

    def note(self, kind: str, text: str) -> None:
        """Record what a person would want to read afterwards, at the latest time."""
        self._record.entry(self._latest_ns, Note(kind, text))

    def close(self, result: str, reason: str, summary: Mapping[str, object]) -> None:
        """Finish the record, saying how the session ended; a second call does nothing."""
        self._frames.close()
        if self._frames.trouble:
            self.note("fault", self._frames.trouble)
        self._record.finish(result, reason, summary)

    def cut(self, why: str) -> None:
        """Finish the record of a session that cannot end in order; from another thread, while its own one hangs."""
        self.note("fault", why)
        self._record.finish("stopped", "ended by force", {})

    @property
    def troubles(self) -> list[str]:
        """What went wrong with writing, in words for a person."""
        return [trouble for trouble in (self._record.trouble, self._frames.trouble) if trouble]


class RunRecorder(Recorder):
    """Takes every step of a run in.

    With the devices' readings the record has all else that the core was given, so that a replay can give it the same
    again (`rover.record.steps`).

    Args:
        core: at work in this run.
        path, header: of the record.
        drivers: at work; what one says of its device's trouble is noted, and on the robot the camera's frames are kept.
        links: serial links that devices are on, by name.
        began_ns: the time at which the run begins.
        keeper: of the errand's state, where it can be taken up again.
        truth: of a rehearsal. Seed and bench give the same readings again, so they are recorded only where real threads
            have a part in them (``is_exact`` is false).

    Attributes:
        links: what becomes of the serial links.
        unwell: sentences on devices that are faulty, and on what activities raised.
    """

    def __init__(
        self,
        core: Core,
        path: Path,
        header: Mapping[str, str],
        *,
        drivers: Drivers | None = None,
        links: Mapping[str, Link] = MappingProxyType({}),
        began_ns: int = 0,
        keeper: StateKeeper | None = None,
        truth: TruthKeeper | None = None,
        is_exact: bool = False,
    ) -> None:
        newest_frame = drivers.newest_frame if drivers is not None and truth is None else lambda: None
        super().__init__(path, header, newest_frame, core.known.robot.record, began_ns)
        self.delivered = len(core.known.ledger.delivered)
        self._core, self._drivers, self._keeper, self._truth = core, drivers, keeper, truth
        self._takes_readings = not is_exact
        self._point = core.track_point()
        self._aftermath = Aftermath(core, began_ns)
        self._finds: dict[int, FindReport] = {}
        self.unwell: dict[str, str] = {}
        self._why = ""
        self._steps = self._skipped = 0
        self.links = LinkWatch(links)
        self._began_ns = began_ns
        self._began_s = time.monotonic()
        for said in self.tidied:
            self.note("record", said)

    @property
    def seconds(self) -> float:
        """Robot time since the run began."""
        return (self._latest_ns - self._began_ns) * 1e-9

    def faults(self) -> list[tuple[str, str]]:
        """Return, if that is news, why record or saved state are not being written, '' when they are again."""
        why = self._record.failing or (self._keeper.trouble if self._keeper is not None else "")
        before, self._why = self._why, why
        return [(RECORD, why)] if bool(why) != bool(before) else []

    def take(self, given: StepReadings, decided: StepRecord) -> None:
        """Record a step: what the core was given, what it decided."""
        now_ns = self._latest_ns = given.now_ns
        if self._takes_readings:
            self._frames.take(given.new)
            self._record.given(given, decided)
        self._aftermath.take(given, decided)
        if self._truth is not None:
            self._take_incidents(self._truth.step(now_ns))
        if self._steps % TRACK_EVERY == 0 or decided.ending is not None:
            self._take_point(now_ns, decided)
        if decided.events:
            for event in decided.events:
                self._take_event(now_ns, event)
            if self._keeper is not None:
                self._keeper.keep(self._core.saved(self._point))
        self._steps += 1

    def _take_point(self, now_ns: int, decided: StepRecord) -> None:
        self._point = self._core.track_point()
        self._record.step(now_ns, self._point, (decided.drive.left, decided.drive.right))
        if self._truth is not None:
            self._record.true_pose(now_ns, self._truth.pose)
        for said in self.links.news():
            self.note("link", said)
        for said in self._drivers.tries() if self._drivers is not None else ():
            self.note("driver", said)

    def _take_event(self, now_ns: int, event: Event) -> None:
        self._record.entry(now_ns, event)
        match event:
            case Find():
                self._take_find(now_ns, event)
            case ObjectEvent(what=what) if what == TAKEN_OUT:
                self.delivered = len(self._core.known.ledger.delivered)
                if self._truth is not None:
                    self._truth.take_out()
            case Delivery(known_by=known_by):
                self.delivered = len(self._core.known.ledger.delivered)
                if self._truth is not None and known_by != BELIEVED:
                    self._truth.deliver()
            case HealthChange(device, Health.DOUBTED, why):
                self.unwell[f"{device} doubted"] = f"{device} doubted: {why}; look after it before the next run"
            case HealthChange(device, health, why):
                self.unwell.pop(device, None)
                is_told = self._drivers is not None and self._drivers.is_away(device)  # by the drivers themselves
                if health is Health.FAULTY and not is_told:
                    self.unwell[device] = f"{device} is faulty: {why}"
                if health is not Health.OK and self._drivers and (trouble := self._drivers.trouble(device)):
                    self.note("fault", f"{device}: {trouble}")
            case Note("fault", text):
                first, last = text.partition("\n")[0], text.rstrip().rpartition("\n")[2]
                self.unwell[first] = f"{first} {last}"

    def _take_find(self, now_ns: int, find: Find) -> None:
        if self._truth is None:
            self._finds[find.number] = report_of(find)
            return
        truth = self._truth.find(find)
        if truth is not None:
            self._record.entry(now_ns, truth)
        self._finds[find.number] = report_beside(truth, find)

    def _take_incidents(self, incidents: Sequence[Incident]) -> None:
        for at_ns, what in incidents:
            self._record.entry(at_ns, what)

    def note_skipped(self, skipped: int) -> None:
        """Note that so many steps came too late in all, if that is news."""
        if skipped != self._skipped:
            self.note("loop", f"{skipped - self._skipped} steps skipped: the computer was too slow")
            self._skipped = skipped

    def fail(self, error: BaseException) -> None:
        """Finish after something that nobody foresaw, or at once as a person wants it."""
        if isinstance(error, Exception):
            text = "".join(traceback.format_exception(error))
            self.note("fault", f"the run was ended by an error:\n{text}")
        self.finish("stopped", type(error).__name__)

    def finish(self, result: str, reason: str) -> Result:
        """Finish record and saved state, and sum the run up."""
        wall_s = time.monotonic() - self._began_s
        truth = self._record_truth()
        expected = self._core.known.errand.expect
        if expected is None and truth is not None:
            expected = truth.objects
        for name, count in self._core.refusals.items():
            if count:
                self.note("refused", f"{name}: {count}")
        for one in self._core.unknown_conditions:
            span = [f"{(at_ns - self._began_ns) * 1e-9:.1f} s" for at_ns in (one.first_ns, one.last_ns)]
            how_often = f"{one.times} times, from {span[0]} to {span[1]}"
            self.note("unknown", f"{one.text} ({one.where}) could not be worked out {how_often}")
        for remark in self._drivers.remarks if self._drivers is not None else ():
            self.note("fault", remark)
        account, finds = self._core.account(), tuple(self._finds[number] for number in sorted(self._finds))
        counts = {"expected": expected, "delivered": self.delivered, **_beside(account)}
        counts |= {"steps": self._steps, "skipped": self._skipped, "figures": self._aftermath.figures}
        counts |= {"links": self.links.figures(), "ended": datetime.now(UTC).isoformat(timespec="seconds")}
        counts["overlooked"] = _overlooked(self._core)
        self.close(result, reason, counts)
        if self._keeper is not None:
            self._keeper.keep(self._core.saved(self._point), result)
            self._keeper.close()
        worst = max((find.axis_error_m for find in finds if find.axis_error_m is not None), default=None)
        counted = (self.delivered, expected, truth, finds, worst)
        return Result(
            *(result, reason, *counted, self.seconds, wall_s, self._steps, str(self.path)),
            not_in=self._aftermath.not_in(account.left),
            gave_up=self._aftermath.gave_up(self._latest_ns),
            noted=self._aftermath.noted,
            **_beside(account),
        )

    def _record_truth(self) -> TrueFigures | None:
        if self._truth is None:
            return None
        self._take_incidents(self._truth.end(self._latest_ns))
        truth = self._truth.in_figures()
        for one in self._truth.final_objects():
            self._record.entry(self._latest_ns, one)
        self._record.entry(self._latest_ns, truth)
        return truth

    @property
    def troubles(self) -> list[str]:
        """What went wrong with writing, in words for a person."""
        return [*super().troubles, *([self._keeper.trouble] if self._keeper and self._keeper.trouble else [])]


def _beside(account: Account) -> dict[str, Any]:
    """Return what the account says besides the number counted, as result and record have it."""
    return {"seen": account.seen, "believed": account.believed, "left": account.left, "unseen": account.unseen}


def _overlooked(core: Core) -> dict[str, Any]:
    """Return the squares of the ground that were never looked at: their side and middles (m)."""
    side, middles = core.known.ledger.looked_at.overlooked
    return {"side": round(side, 4), "squares": [(round(x, 3), round(y, 3)) for x, y in middles]}
