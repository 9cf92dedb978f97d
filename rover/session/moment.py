"""One moment of a run: all that the core saw, and which conditions held; worked out by giving it the run again."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rover.awaited import Awaited, Value, shown, shown_in
from rover.behaviour.vocabulary import SENSORS, signals_of
from rover.core import Core
from rover.devices.readings import Reading
from rover.events import TrackPoint
from rover.kinds import Number
from rover.record.run import RecordedRun
from rover.session import loop
from rover.session.recorded_errand import recorded_errand
from rover.session.replay import TELL_EVERY, Progress, given_again

WATCHED_NS = 60_000_000_000
"""Conditions are followed for so long before the moment."""
HOLDS, NEARLY, NOT_KNOWN, NOT, TIMED = "holds", "nearly", "not known", "not", "timed"


@dataclass(frozen=True)
class Condition:
    """An exit that is waited for: how it stands (`HOLDS` ... `TIMED`), and since when it has.

    ``since_s``: time since the run began; None: for longer than the conditions were followed.
    """

    exit: Awaited
    stands: str
    since_s: float | None


@dataclass(frozen=True)
class DeviceThen:
    """A device: its health, its latest report, and how old (s) what that says was; None where none had come yet."""

    name: str
    is_ok: bool
    value: Any = None
    age_s: float | None = None


@dataclass(frozen=True)
class Moment:
    """A step of a run.

    Attributes:
        at_ns: robot time; ``seconds``: since the run began.
        state: path of the innermost.
        point: where the robot believed to be.
        duties: of the left and right motors.
        devices: those that report.
        signals: those that the robot can give, as a person reads them.
        conditions: the exits that are waited for, first priority first.
        source: where what the core was given came from.
    """

    at_ns: int
    seconds: float
    state: str
    point: TrackPoint
    duties: tuple[float, float]
    devices: tuple[DeviceThen, ...]
    signals: Mapping[str, str]
    conditions: tuple[Condition, ...]
    source: str


def moment_at(path: Path, run: RecordedRun, at_s: float, progress: Progress) -> Moment:
    """Return the moment of a record at a time since the run began; the last one where the run ended before.

    Raises:
        RecordError: it is no errand's, or holds nothing to replay.
        FileProblems, LoadError: as `recorded_errand`.
    """
    wanted_ns = run.started_ns + round(at_s * 1e9)
    latest: dict[str, Reading] = {}
    followed = _Followed(run.started_ns, is_from_start=wanted_ns - WATCHED_NS <= run.started_ns)
    with given_again(path, run, recorded_errand(path, run)) as again:
        core, duties, now_ns = again.core, (0.0, 0.0), run.started_ns
        for number, (given, decided) in enumerate(loop.steps(core, again.host)):
            now_ns, duties = given.now_ns, (decided.drive.left, decided.drive.right)
            latest |= given.new
            if now_ns >= wanted_ns - WATCHED_NS:
                followed.take(core, now_ns)
            if now_ns >= wanted_ns:
                break
            if number % TELL_EVERY == 0:
                progress((now_ns - run.started_ns) * 1e-9, decided.state)
        followed.take(core, now_ns)
        return Moment(
            at_ns=now_ns,
            seconds=(now_ns - run.started_ns) * 1e-9,
            state=core.engine.path,
            point=core.track_point(),
            duties=duties,
            devices=tuple(_devices(core, latest, now_ns)),
            signals=_signals(core),
            conditions=tuple(followed.conditions),
            source=again.source,
        )


class _Followed:
    """Follows how the exits stand that are waited for, and since when."""

    def __init__(self, began_ns: int, *, is_from_start: bool) -> None:
        self._began_ns, self._is_from_start = began_ns, is_from_start
        self._first_ns: int | None = None
        self._since: dict[tuple[str, str, str], tuple[str, int]] = {}
        self.conditions: list[Condition] = []

    def take(self, core: Core, now_ns: int) -> None:
        """Take in how they stand after a step."""
        if self._first_ns is None:
            self._first_ns = now_ns
        before, self._since, self.conditions = self._since, {}, []
        for one in core.awaited():
            key, stands = (one.text, one.where, one.scope), _stands(one)
            was, since_ns = before.get(key, ("", now_ns))
            since_ns = since_ns if was == stands else now_ns
            self._since[key] = stands, since_ns
            is_older = since_ns == self._first_ns and not self._is_from_start
            self.conditions.append(Condition(one, stands, None if is_older else (since_ns - self._began_ns) * 1e-9))


def _stands(one: Awaited) -> str:
    if one.left_s is not None:
        return TIMED
    if one.holds is None:
        return NOT_KNOWN
    return HOLDS if one.holds else NEARLY if one.is_near else NOT


def _devices(core: Core, latest: Mapping[str, Reading], now_ns: int) -> list[DeviceThen]:
    signals, found = core.known.signals, []
    for name in core.known.robot.devices.fitted():
        if (is_ok := getattr(signals, f"{name}_ok", None)) is not None and (name in latest or not is_ok):
            reading = latest.get(name)
            age_s = None if reading is None else (now_ns - reading.taken_ns) * 1e-9
            found.append(DeviceThen(name, bool(is_ok), None if reading is None else reading.value, age_s))
    return found


def _signals(core: Core) -> dict[str, str]:
    found, robot = {}, core.known.robot
    lacking = set(SENSORS) - set(robot.devices.fitted())
    for name, signal in signals_of(robot).items():
        if name.partition(".")[0] in lacking:
            continue
        value: Value = core.known.signals.value(name)
        unit = shown_in(signal.kind.dimension) if isinstance(signal.kind, Number) else ""
        found[name] = "not known" if isinstance(value, float) and math.isnan(value) else shown(value, unit)
    return found
