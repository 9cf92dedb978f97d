"""A run as it is read back from its record: plain frozen values. Times are robot time in nanoseconds."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

from rover.errors import UserError
from rover.events import BELIEVED, TAKEN_OUT, Delivery, Event, Find, ObjectEvent, TrackPoint

E = TypeVar("E")
CUT_OFF = "cut off"
"""The result of a run whose record ends before the run did."""


class RecordError(UserError):
    """A run record that cannot be made or read; the message says which file, why, and what to do."""


class NoRecordError(RecordError):
    """A SQLite file that is something else than a run record."""


class TrackSample(NamedTuple):
    """Where the robot believed to be at a time, and the duties (-1 to 1) of its left and right motors."""

    at_ns: int
    point: TrackPoint
    duties: tuple[float, float]


class TruePose(NamedTuple):
    """Where the robot really was (m, rad, field frame), as the bench knows."""

    at_ns: int
    x: float
    y: float
    heading: float


class Happening(NamedTuple):
    """An event with the time of the step that it belongs to."""

    at_ns: int
    event: Event


@dataclass(frozen=True, slots=True)
class TrueFind:
    """Where the object of the find with this number really stood (m, field frame)."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class TrueBump:
    """The robot, at (x, y) (m, field frame), ran into something that does not give way, at ``speed`` (m/s)."""

    x: float
    y: float
    speed: float


@dataclass(frozen=True, slots=True)
class TrueTouch:
    """An object that stood at (x, y) (m, field frame) was touched and not gripped, which moved it by ``moved`` (m)."""

    id: str
    kind: str
    x: float
    y: float
    moved: float
    in_tray: bool


class Incident(NamedTuple):
    """A bump or a touch with the time at which it began."""

    at_ns: int
    what: TrueBump | TrueTouch


@dataclass(frozen=True, slots=True)
class TrueFigures:
    """What truly happened in a rehearsal, in figures.

    Attributes:
        objects: how many there are to fetch: of the kinds that the errand wants, and not in the tray from the start.
        delivered: how many of these are in the tray at the end, and not in the jaws.
        empty_finds: finds with nothing in the jaws.
        empty_deliveries: deliveries with which nothing came into the tray.
        let_go_outside: times that an object was let go of, or slipped out, outside the tray, wherever there is one.
        fallen: times that an object fell over.
        bumps, fastest_bump_m_s: with what does not give way.
        touched, touched_in_tray: times that an object was touched, and not gripped or set down in the same go.
        outside_s, farthest_outside_m: any corner of the robot's outline, jaws included, beyond the field's boundary.
        driven_m: way of the robot's middle.
    """

    objects: int
    delivered: int
    empty_finds: int
    empty_deliveries: int
    let_go_outside: int
    fallen: int
    bumps: int
    fastest_bump_m_s: float
    touched: int
    touched_in_tray: int
    outside_s: float
    farthest_outside_m: float
    driven_m: float


@dataclass(frozen=True, slots=True)
class FinalObject:
    """Where an object was at the end (m, field frame); ``place`` is ``tray``, ``floor`` or ``held``."""

    id: str
    kind: str
    x: float
    y: float
    place: str


@dataclass(frozen=True, slots=True)
class Gap:
    """A span of time (both ends included) in which samples were lost; the run cannot be replayed across it."""

    table: str
    from_ns: int
    to_ns: int
    samples: int


@dataclass(frozen=True, slots=True)
class RunEnd:
    """How the run ended, and whatever else its host wanted to say about it."""

    result: str
    reason: str
    summary: Mapping[str, object] = field(default_factory=dict)


class RunSummary(NamedTuple):
    """What a list of runs says of one.

    Attributes:
        header: texts by name, without the files used.
        outcome: None if the record ends before the run did.
        seconds: how long it is.
    """

    header: Mapping[str, str]
    outcome: RunEnd | None
    seconds: float


@dataclass(frozen=True)
class RecordedRun:
    """The whole record of a run, except for the device readings.

    Attributes:
        header: texts by name (title, started, seed, settings, version, host, field, the files used).
        track, true_track: about ten samples a second; the true one is empty on the robot.
        happenings: all events in the order in which they came.
        true_finds: by the number of the find; empty on the robot, and a find that is missing held nothing.
        incidents: bumps and touches, in the order in which they were over; empty on the robot.
        truth: None on the robot, and in records of the first layout.
        outcome: None if the record ends before the run did; once it is finished by the next run, `CUT_OFF`.
        ended_ns: the latest time in the record.
    """

    header: Mapping[str, str]
    track: tuple[TrackSample, ...]
    true_track: tuple[TruePose, ...]
    happenings: tuple[Happening, ...]
    true_finds: Mapping[int, TrueFind]
    final_objects: tuple[FinalObject, ...]
    gaps: tuple[Gap, ...]
    outcome: RunEnd | None
    started_ns: int
    ended_ns: int
    incidents: tuple[Incident, ...] = ()
    truth: TrueFigures | None = None

    @property
    def finds(self) -> tuple[Find, ...]:
        """The finds by number; of an object that was gripped again, the last."""
        latest = {find.number: find for find in self.events_of(Find)}
        return tuple(latest[number] for number in sorted(latest))

    @property
    def counted(self) -> tuple[Delivery, ...]:
        """The deliveries that are counted: more than believed. Earlier layouts did not tell them apart."""
        return tuple(one for one in left_there(one.event for one in self.happenings) if one.known_by != BELIEVED)

    def events_of(self, kind: type[E]) -> tuple[E, ...]:
        """Return the events of one class, such as `rover.events.Find`, in order."""
        return tuple(happening.event for happening in self.happenings if isinstance(happening.event, kind))


def left_there(events: Iterable[Event]) -> tuple[Delivery, ...]:
    """Return the deliveries among some events, in order, but for those of what was taken out of the tray later."""
    deliveries: list[Delivery] = []
    for event in events:
        if isinstance(event, Delivery):
            deliveries.append(event)
        elif isinstance(event, ObjectEvent) and event.what == TAKEN_OUT:
            deliveries = [one for one in deliveries if one.object != event.number]
    return tuple(deliveries)


def is_cut_off(run: RecordedRun) -> bool:
    """Tell whether a record ends before its run did: the program was killed, the power went, or it still goes on."""
    return run.outcome is None or run.outcome.result == CUT_OFF
