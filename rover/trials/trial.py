"""One trial: a rehearsal that is watched as it goes, and the row that it comes to."""

import hashlib
import shutil
import struct
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from rover.core import StepReadings, StepRecord
from rover.events import Note, StateChange, Stop
from rover.files.given import NOTHING, Given
from rover.record.run import TrueFigures
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.result import Result
from rover.session.without import left_out

DUTIES = struct.Struct("<3d")


@dataclass(frozen=True)
class Trial:
    """What is to be rehearsed.

    Attributes:
        number: in the campaign, from 1.
        variant: what is different from the other trials of this number, in words; '' where there is one of each.
        errand: path of the errand file.
        seed: of bench, behaviour and drivers.
        given: what stands in place of what the files say.
        drawn: the keys among it that were drawn, with their values as numbers (SI) or words.
        without: the safeguard that is left out, '' for none.
        record: file to keep the run record in if the trial fails, or (``keeps_all``) in any case; None: it is not kept.
    """

    number: int
    variant: str
    errand: Path
    seed: int
    given: Given = NOTHING
    drawn: Mapping[str, float | str] = field(default_factory=dict)
    without: str = ""
    record: Path | None = None
    keeps_all: bool = False


class Ended(NamedTuple):
    """Where an errand was when it ended.

    Attributes:
        state: path of the behaviour's state.
        exit: the exit that led to the end, or the stop's cause.
        device: those that were not ok, joined by commas.
    """

    state: str = ""
    exit: str = ""
    device: str = ""


NOWHERE = Ended()


@dataclass(frozen=True)
class TrialRow:
    """What a trial came to. Two runs of one trial give equal rows, on whichever worker.

    Own code that keeps something from one rehearsal to the next may decide otherwise; ``--twice`` shows that.

    Attributes:
        number, variant, seed, drawn: as in `Trial`.
        is_success: the behaviour's result is done and the robot's own account clean, all that is counted is truly
            there, nothing expected is left, and no stop came.
        result, reason: as the behaviour has it, or ``stopped`` and why, or ``error``.
        ended: where the errand was then.
        counted: how many objects the robot counts as delivered.
        believed: how many besides it set down, and nothing could tell.
        truth: what truly happened; None where nobody knows.
        axis_errors_m: of the finds, the greater of the errors along x and y.
        robot_time_s: how long it took.
        error: traceback of what nobody foresaw, or of what a person's own code raised first; '' if nothing did.
        digest: a hash of what the steps decided: states, duties, jaws.
    """

    number: int
    variant: str
    seed: int
    drawn: Mapping[str, float | str]
    is_success: bool
    result: str
    reason: str
    ended: Ended = NOWHERE
    counted: int = 0
    believed: int = 0
    truth: TrueFigures | None = None
    axis_errors_m: tuple[float, ...] = ()
    robot_time_s: float = 0.0
    error: str = ""
    digest: str = ""


def why_not(row: TrialRow) -> str:
    """Return why a trial is no success, in one line; '' if it is one."""
    if row.is_success:
        return ""
    if row.result in ("error", "stopped"):
        return f"{row.result}: {row.reason}"
    if row.truth is not None and not is_honest(row.counted, row.truth):
        return f"{row.result}, but counted what is not there"
    if row.result == "done" and row.believed:
        return f"done ({row.reason}), but {row.believed} only believed to be there"
    if row.result == "done":
        return f"done ({row.reason}), but not all is in or was looked for"
    return f"{row.result} ({row.reason})"


class WatchedRehearsal(Rehearsal):
    """A rehearsal that keeps what a trial's row says of its course.

    Attributes:
        exit: the exit by which the state was entered that it is in, or the cause of the stop.
        state: where the behaviour was before it ended.
        error: the first thing that a person's own code raised.
    """

    exit = state = error = ""

    @cached_property
    def _hash(self) -> Any:
        return hashlib.blake2b(digest_size=8)

    @property
    def unwell(self) -> list[str]:
        """The devices that are not ok, by name."""
        known = self.core.known
        return sorted(name for name in known.robot.devices.fitted() if not getattr(known.signals, f"{name}_ok", True))

    @property
    def digest(self) -> str:
        """A hash of all that was decided."""
        return str(self._hash.hexdigest())

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Take a step's decisions in, besides what any rehearsal does after a step."""
        super().after_step(given, decided)
        opening = None if decided.jaws is None else decided.jaws.opening
        duties = DUTIES.pack(decided.drive.left, decided.drive.right, -1.0 if opening is None else opening)
        self._hash.update(decided.state.encode() + duties)
        for event in decided.events:
            self._note(event)

    def _note(self, event: Any) -> None:
        match event:
            case StateChange(left, entered, exit=taken):
                self.exit = taken
                self.state = left if self.core.engine.ending is not None else entered
            case Stop(cause):
                self.exit = cause
            case Note("fault", text):
                self.error = self.error or text


def run_trial(trial: Trial) -> TrialRow:
    """Rehearse, and return the row; whatever is raised becomes a row too, so that a campaign goes on."""
    with TemporaryDirectory(prefix="rover-trial-") as folder:
        record = Path(folder) / "run.sqlite"
        try:
            assembly, activities = with_user_activities(trial.errand, {}, trial.given)
            assembly, parts = left_out(trial.without, assembly)
            rehearsal = WatchedRehearsal(assembly, activities, trial.seed, record, parts=parts)
            row = row_of(trial, rehearsal, rehearsal.run(lambda *_: None))
        except (Exception, SystemExit) as error:  # own code may end what it takes for its own program
            row = failed_row(trial, error)
        if trial.record is not None and record.exists() and (trial.keeps_all or not row.is_success):
            row = _with_record(row, record, trial.record)
    return row


def _with_record(row: TrialRow, record: Path, target: Path) -> TrialRow:
    """Keep a record; where that cannot be, the row says so."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.move(record, target)
    except OSError as error:
        return replace(row, error=row.error or f"the record cannot be kept: {target}: {error.strerror}")
    return row


def row_of(trial: Trial, rehearsal: WatchedRehearsal, result: Result) -> TrialRow:
    """Return the row of a trial that ran to an end."""
    return TrialRow(
        trial.number,
        trial.variant,
        trial.seed,
        dict(trial.drawn),
        is_success(result, has_tray=rehearsal.core.known.ground.zone is not None),
        result.result,
        result.reason,
        Ended(rehearsal.state, rehearsal.exit, ", ".join(rehearsal.unwell)),
        result.delivered,
        result.believed,
        result.truth,
        tuple(find.axis_error_m for find in result.finds if find.axis_error_m is not None),
        result.robot_time_s,
        rehearsal.error,
        rehearsal.digest,
    )


def is_success(result: Result, *, has_tray: bool) -> bool:
    """Whether it is done and the robot's account clean, what is counted truly there, and with a tray nothing left."""
    if not result.is_clean:
        return False
    truth = result.truth
    if truth is None:
        return result.objects is None or result.delivered >= result.objects
    wanted = truth.objects if result.objects is None else min(result.objects, truth.objects)
    return is_honest(result.delivered, truth) and (not has_tray or truth.delivered >= wanted)


def is_honest(counted: int, truth: TrueFigures) -> bool:
    """Whether all that is counted as delivered is truly there."""
    return truth.delivered >= counted and not truth.empty_deliveries


def failed_row(trial: Trial, error: BaseException) -> TrialRow:
    """Return the row of a trial that ended in an error."""
    row = lost_row(trial, f"{type(error).__name__}: {error}".strip().splitlines()[0])
    return replace(row, error="".join(traceback.format_exception(error)))


def lost_row(trial: Trial, reason: str) -> TrialRow:
    """Return the row of a trial of which nothing came."""
    return TrialRow(trial.number, trial.variant, trial.seed, dict(trial.drawn), False, "error", reason)
