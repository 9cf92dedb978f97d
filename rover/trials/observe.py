"""A rehearsal in which a device is lost: carried out, and what is observed of it."""

import math
import traceback
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from rover.activities.activity import Activity
from rover.core import StepReadings, StepRecord
from rover.devices.families import reporting
from rover.events import StateChange, Stop
from rover.files.robot import Robot
from rover.record.run import TrueBump
from rover.session.assembly import Assembly, with_user_activities
from rover.session.result import Result
from rover.session.without import left_out
from rover.trials import course
from rover.trials.course import Sample
from rover.trials.losses import LASTING, LINK, Cell, Loss
from rover.trials.trial import WatchedRehearsal, is_success
from rover.trials.verdict import Motion, Observed

PATIENCE_S = 3600.0
"""A rehearsal that has not ended so long after the loss is given up; the behaviours that come along last 45 min."""
LOOKS_ON_S = 3.0
"""So long it is looked on after a stop, and after the end."""
SAMPLE_EVERY = 5
"""Steps; ten samples a second at 50 Hz."""


class Demands(NamedTuple):
    """What the robot file wants of the wheels once a device is lost: to stand, or to go slowly, so long (s) after."""

    stand_s: float = math.inf
    slowly_s: float = math.inf


def demands(robot: Robot, loss: Loss | None) -> Demands:
    """Return what a loss must lead to, the ramps down included, from what stands in the robot file alone.

    Only of a silent device is it known when it counts as missing.
    """
    if loss is None or loss.way != "silent":
        return Demands()
    all_reporting, fitted = reporting(robot.devices), robot.devices.fitted()
    lost = {
        name: device
        for name, device in all_reporting.items()
        if name == loss.device or (loss.device == LINK and fitted[name].on_link is not None)
    }
    stand, slowly = [math.inf], [math.inf]
    for name, device in lost.items():
        going = robot.going_without(name)
        stand.append(device.overdue_after + going.seconds)
        if going.slowly:
            slowly.append(device.overdue_after)
    if "counts" in lost and ("heading" in lost or "heading" not in all_reporting):
        stand.append(max(lost[name].overdue_after for name in ("counts", "heading") if name in lost))
    limits = robot.limits
    ramp_s = (
        max(limits.speed / limits.deceleration, limits.turn_rate / limits.turn_acceleration) + SAMPLE_EVERY / robot.loop
    )
    return Demands(min(stand) + ramp_s, min(slowly) + ramp_s + course.COASTS_S)


class ObservedRehearsal(WatchedRehearsal):
    """A rehearsal whose course is kept; it looks on for a while after a stop and after the end.

    Attributes:
        samples: of the course.
        entered_s: when each state was first entered, by its path.
        stopped_s: when a stop latched; None without one.
        ended_s: the time of the last step.
    """

    def __init__(self, cell: Cell, assembly: Assembly, activities: Mapping[str, type[Activity]], record: Path) -> None:
        assembly, parts = left_out(cell.trial.without, assembly)
        super().__init__(assembly, activities, cell.trial.seed, record, parts=parts)
        self.samples: list[Sample] = []
        self.entered_s: dict[str, float] = {}
        self.stopped_s: float | None = None
        self.ended_s = 0.0
        self._duty, self._steps = 0.0, 0
        if cell.lost_s is not None:
            self.ends_ns = round((cell.lost_s + PATIENCE_S) * 1e9)

    def after_step(self, given: StepReadings, decided: StepRecord) -> None:
        """Keep what is to be known of the step; a stop is looked at for a while yet."""
        super().after_step(given, decided)
        self.ended_s = given.now_ns * 1e-9
        for event in decided.events:
            match event:
                case StateChange(entered=path):
                    self.entered_s.setdefault(path, self.ended_s)
                case Stop():
                    self._sample()
                    self.stopped_s = self.ended_s
                    self.ends_ns = given.now_ns + round(LOOKS_ON_S * 1e9)
        self._duty = max(self._duty, abs(decided.drive.left), abs(decided.drive.right))
        self._steps += 1
        if self._steps % SAMPLE_EVERY == 0:
            self._sample()

    def close(self) -> None:
        """Close the drivers, and look what the robot does then."""
        super().close()
        self._sample()
        for tenth in range(1, round(10 * LOOKS_ON_S) + 1):
            at_s = self.ended_s + 0.1 * tenth
            self.bench.advance(round(at_s * 1e9))
            self.samples.append(Sample(at_s, 0.0, *self.bench.pose))

    def _sample(self) -> None:
        """Note what there was since the last sample."""
        self.samples.append(Sample(self.ended_s, self._duty, *self.bench.pose))
        self._duty = 0.0


def rehearse(cell: Cell) -> Observed:
    """Rehearse, and return what was observed; whatever is raised is part of that."""
    with TemporaryDirectory(prefix="rover-loss-") as folder:
        rehearsal = None
        try:
            assembly, activities = with_user_activities(cell.trial.errand, {}, cell.trial.given)
            rehearsal = ObservedRehearsal(cell, assembly, activities, Path(folder) / "run.sqlite")
            result = rehearsal.run(lambda *_: None)
            return _observed(cell, rehearsal, result, demands(assembly.robot, cell.loss))
        except (Exception, SystemExit) as error:  # own code may end what it takes for its own program
            seen = Observed("error", type(error).__name__, "".join(traceback.format_exception(error)), cell.lost_s)
            if rehearsal is None:
                return seen
            return replace(seen, ended_s=rehearsal.ended_s, entered_s=rehearsal.entered_s)


def _observed(cell: Cell, rehearsal: ObservedRehearsal, result: Result, wanted: Demands) -> Observed:
    core, samples, stopped_s = rehearsal.core, rehearsal.samples, rehearsal.stopped_s
    robot = core.known.robot
    lost_s = 0.0 if cell.lost_s is None else cell.lost_s
    until_s = lost_s + (math.inf if cell.loss is None else LASTING[cell.loss.lasts])
    truth = rehearsal.truth
    motion = Motion(
        course.last_driven_s(samples),
        0.0 if stopped_s is None else course.driven_s(samples, stopped_s),
        0.0 if truth is None else course.rolled_m(samples, 0.5 * robot.body.track),
        course.driven_s(samples, lost_s + wanted.stand_s, until_s),
        0.0 if truth is None else course.fastest_m_s(samples, lost_s + wanted.slowly_s, until_s),
    )
    incidents = [] if truth is None else truth.incidents
    bumps = [one.what.speed for one in incidents if isinstance(one.what, TrueBump) and one.at_ns * 1e-9 >= lost_s]
    return Observed(
        result.result,
        result.reason,
        rehearsal.error,
        cell.lost_s,
        is_success=is_success(result, has_tray=core.known.ground.zone is not None),
        is_clean=result.is_clean,
        counted=result.delivered,
        truth=result.truth,
        ended_s=rehearsal.ended_s if stopped_s is None else stopped_s,
        stopped_s=stopped_s,
        motion=motion,
        bumps=tuple(bumps),
        contact_speed=robot.limits.contact_speed,
        entered_s=rehearsal.entered_s,
    )


def given_up(cell: Cell, why: str) -> Observed:
    """Return what is to be said of a rehearsal whose process was lost."""
    return Observed("error", why, why, cell.lost_s)
