"""The step: readings in, commands out. No I/O, no clock: the same readings give the same decisions.

Read `Core.step` from top to bottom and you have followed a reading from a driver to a motor.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from rover.activities.activity import Activity, Knowledge
from rover.activities.output_values import OutputValues, in_words
from rover.activities.sight import field_of_view, look_round
from rover.awaited import Awaited
from rover.behaviour.awaited import UnknownCondition, unknown_conditions
from rover.behaviour.engine import Engine
from rover.behaviour.model import BehaviourGraph
from rover.behaviour.vocabulary import Signals
from rover.core import signals
from rover.core.beginning import FirstFix, can_sight_marker, pose_filter
from rover.core.health import HealthWatch
from rover.core.interface import Action, StepReadings, StepRecord
from rover.core.parts import USUAL, Parts
from rover.core.performer import ActivityPerformer
from rover.core.senses import Senses
from rover.core.stopping import Stopping
from rover.core.targeting import Targeting
from rover.devices.readings import DriveCommand, JawsCommand
from rover.errand import saving
from rover.errand.entries import Account
from rover.errand.ledger import Ledger
from rover.estimate.field import ground_for
from rover.estimate.looked_at import LookedAt
from rover.events import Event, HoldBack, TrackPoint
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import Pose
from rover.motion.carriage import Carriage
from rover.motion.keep_clear import UNKNOWN, Whereabouts
from rover.motion.limits import OBSTACLE, STALLED, Allowed
from rover.motion.request import STILL, Request
from rover.stopping import Act, JawsRule
from rover.vision.targets import TargetMemory

ACTS = {
    "stop": (Act.STOP,),
    "reset": (Act.PRESS, Act.RELEASE),
    "resume": (Act.RESUME,),
    "hold": (Act.HOLD,),
    "lapse": (Act.LAPSE,),
    "enable": (Act.ENABLE,),
}
"""What the actions of an operator or of the guard mean for the latch."""


class Core:
    """One run. Not safe for use by several threads.

    Args:
        robot, errand, graph, activities: what it is to do, and with what.
        seed: of the activities' random draws.
        saved: what `Core.saved` of an earlier run returned, to take the errand up again. The pose is then wider, and
            before the behaviour begins the tray's marker is sighted; where there is none, the robot has to stand at
            the errand's start.
        parts: others than the usual ones, for a rehearsal.

    Attributes:
        known: all that the robot knows.
        stop: whether it may move: the latched stop and the operator's hold.
        engine: the behaviour.

    Raises:
        StateMismatchError: ``saved`` does not belong to this errand.
        KeyError, TypeError, ValueError: it is not what `Core.saved` returned.
    """

    def __init__(
        self,
        robot: Robot,
        errand: Errand,
        graph: BehaviourGraph,
        activities: Mapping[str, type[Activity]],
        seed: int,
        saved: Mapping[str, Any] | None = None,
        parts: Parts = USUAL,
    ) -> None:
        ground = ground_for(errand, robot)
        self._first_fix = FirstFix(saved is not None and can_sight_marker(robot, ground))
        estimate = pose_filter(robot, errand, saved if self._first_fix.is_due else None, parts.pose_filter)
        events: list[Event] = []
        view = field_of_view(robot, errand.kinds.values())
        looked_at = LookedAt(ground, look_round(robot, errand, view), errand.field.lookouts)
        ledger = Ledger(errand, ground, looked_at, events=events)
        if saved is not None:
            saving.restore(ledger, saved["ledger"])
        targets = TargetMemory(view)
        known = Knowledge(
            *(robot, errand, ground, estimate, Signals(robot), targets, ledger, estimate.pose),
            events=events,
            outputs=OutputValues(robot.outputs),
        )
        known.signals.operator_chooses = errand.order == "ask"
        known.signals.motion_held_back_for = 0.0
        self.known = known
        self.stop = Stopping(events)
        self.engine = Engine(graph, performer := ActivityPerformer(known, activities, seed))
        self._performer = performer
        self._carriage = Carriage(robot, ground, errand.widest, known.explored)
        self._health = HealthWatch(robot, known.signals)
        checks = parts.cross_checks(robot, errand.field.heading_error)
        targeting = Targeting(known, parts.target_choice)
        self._senses = Senses(known, self._health, self._carriage, self.stop, targeting, checks)
        self._command_ns = int(robot.limits.command_lasts * 1e9)
        self._sequence = 0
        self._last_ns: int | None = None
        self._passed_ns = self._behaviour_ns = 0
        self._errand_changed = True
        self._brings = any(state.activity == "set_down" for state in graph.states.values())

    @property
    def pose(self) -> Pose:
        """The estimated pose."""
        return self.known.pose

    def covariance(self) -> tuple[float, float, float, float, float, float]:
        """Return (xx, xy, xt, yy, yt, tt) of the pose: m^2, m rad, rad^2."""
        return self.known.filter.covariance(self.known.now_ns)

    @property
    def fix_due(self) -> bool:
        """The errand is taken up again, and the marker has not been sighted yet."""
        return self._first_fix.is_due

    @property
    def refusals(self) -> dict[str, int]:
        """How many readings the gates refused, and conditions that could not be worked out."""
        return {
            "counts": self._senses.odometer.refused,
            "heading": self.known.filter.sources["heading"].refused,
            "slip": self.known.filter.slips,
            "impossible": self._health.impossible,
            "unknown conditions": self.engine.unknowns,
        }

    def awaited(self, path: str | None = None) -> tuple[Awaited, ...]:
        """Return which exits the behaviour waits for now, and how far each is; costs nothing but when it is asked.

        ``path`` is another state than the present one, which this step has left.
        """
        return self.engine.awaited(self._behaviour_ns, self.known.signals, path)

    @property
    def unknown_conditions(self) -> tuple[UnknownCondition, ...]:
        """The exits that could not be worked out so far, and how often."""
        return unknown_conditions(self.engine.compiler)

    def account(self) -> Account:
        """Return what the ledger says of the errand, as it stands; nothing is left where nothing is to be brought."""
        account = self.known.ledger.account(signals.to_fetch(self.known))
        if self._brings or account.counted or account.believed:
            return account
        return account._replace(left=None, unseen=0.0)

    def saved(self, point: TrackPoint) -> dict[str, Any]:
        """Return what a later run needs to take the errand up again, as plain values; ``point`` is the latest one."""
        return {
            "pose": [point.x, point.y, point.heading],
            "sigmas": [point.sigma_x, point.sigma_y, point.sigma_heading],
            "ledger": saving.saved(self.known.ledger),
        }

    def track_point(self) -> TrackPoint:
        """Return where the robot believes to be, for the record."""
        return TrackPoint(*self.known.pose, *self.known.filter.sigmas, self.engine.path)

    def step(self, readings: StepReadings) -> StepRecord:
        """Take one step: readings -> estimate -> signals -> behaviour -> activity -> limits -> commands."""
        self._begin(readings.now_ns)
        self._senses.take(readings)
        self._operate(readings.actions)
        self._fill_signals()
        request = self._behave()
        allowed = self._limit(request)
        return self._command(allowed)

    def _begin(self, now_ns: int) -> None:
        last_ns, known = self._last_ns, self.known
        self._passed_ns = now_ns - last_ns if last_ns is not None and now_ns > last_ns else 0
        self._last_ns = known.now_ns = now_ns
        known.seconds = self._passed_ns * 1e-9
        known.events.clear()

    def _operate(self, actions: Sequence[Action]) -> None:
        # A stop wins over whatever else comes in the same step, in whatever order.
        for action in sorted(actions, key=lambda action: action.kind == "stop") if actions else ():
            if action.kind == "answer":
                self.known.answer = action.value
            for act in ACTS.get(action.kind, ()):
                self.stop.act(act, action.value or "operator")
            if action.kind == "reset":
                self._carriage.limits.count_afresh()

    def _fill_signals(self) -> None:
        limits = self._carriage.limits
        signals.fill_step(self.known, limits.causes, self._behaviour_ns * 1e-9)
        self.known.signals.motion_slowed = bool(limits.slowed_by)
        if self._errand_changed or self._senses.fresh_frame:
            self._errand_changed = False
            signals.fill_errand(self.known)

    def _behave(self) -> Request:
        """Step the behaviour and its activity; under a stop or hold neither steps, and time stands still for them."""
        engine, known = self.engine, self.known
        if not self.stop.effect.moves or engine.ending is not None:
            return STILL
        if not engine.path and self._first_fix.is_due:
            return self._first_fix.step(known, self.stop)
        if not engine.path:
            engine.begin(self._behaviour_ns, known.signals)
        elif self.stop.is_resumed:
            engine.resume(self._behaviour_ns, known.signals)
        else:
            self._behaviour_ns += self._passed_ns
            engine.step(self._behaviour_ns, known.signals)
        self.stop.is_resumed = False
        if engine.changes:
            known.events.extend(engine.changes)
            engine.changes.clear()
            self._errand_changed = True
        request = self._performer.step(engine)
        if known.events:
            self._errand_changed = True
        return request

    def _limit(self, request: Request) -> Allowed:
        limits, known = self._carriage.limits, self.known
        known.is_stalled = False
        if known.signals.pose_sigma > UNKNOWN:
            self.stop.stop(
                f"the position is sure to {known.signals.pose_sigma:.1f} m only: begin anew at the errand's start"
            )
        if not self.stop.effect.moves:
            known.outputs.rest()
            return limits.stop()
        before = (*limits.causes, *limits.slowed_by)
        where = Whereabouts(known.pose, known.filter.position_doubt, known.loaded)
        missing = self._health.missing(known.now_ns)
        allowed = self._carriage.allow(request, known.now_ns, known.seconds, where, missing)
        if OBSTACLE in limits.causes:
            known.gap_ahead = self._carriage.echoes.room.ahead
        now = (*limits.causes, *limits.slowed_by)
        if now != before:
            known.events.extend(HoldBack(cause) for cause in now if cause not in before)
            known.events.extend(HoldBack(cause, ended=True) for cause in before if cause not in now)
            known.is_stalled = STALLED in limits.began
            if why := self._carriage.why_stop:
                self.stop.stop(why)
                return limits.stop()
        return allowed

    def _command(self, allowed: Allowed) -> StepRecord:
        self._sequence += 1
        known, senses, carriage = self.known, self._senses, self._carriage
        if allowed.jaws is not None:
            known.jaws = allowed.jaws
        known.filter.unseen.command(allowed.speed, allowed.turn_rate, known.seconds, known.now_ns)
        speeds = carriage.wheel_speeds(allowed, known.filter.track)
        senses.drive(carriage.duties(speeds, senses.speeds, known.seconds), speeds)
        expires = known.now_ns + self._command_ns
        drive = DriveCommand(*senses.duties, self._sequence, expires)
        jaws = None if known.jaws is None else JawsCommand(self._opening(), self._sequence, expires)
        for name, value in known.outputs.changed.items():
            known.note("output", f"{name}: {in_words(value)}")
        known.outputs.changed.clear()
        outputs = known.outputs.commands(self._sequence, expires)
        ending = self.engine.ending
        return StepRecord(known.now_ns, drive, jaws, self.engine.path, tuple(known.events), ending, outputs)

    def _opening(self) -> float | None:
        """Return the jaws' wanted opening; after a stop that of ``on_stop``, where no guard sees to it."""
        gripper, opening = self.known.robot.devices.gripper, self.known.jaws
        if gripper is None or not gripper.is_own or self.stop.effect.jaws is not JawsRule.REST:
            return opening
        return {"release": 1.0, "limp": None}.get(gripper.on_stop, opening)
