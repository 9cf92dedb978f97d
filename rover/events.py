"""What happened in a step, as plain values: the core makes them, the run record, the page and notices take them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from rover.awaited import Awaited


class Health(Enum):
    """A device's health."""

    OK = "ok"
    OVERDUE = "overdue"
    FAULTY = "faulty"
    DOUBTED = "doubted"


@dataclass(frozen=True, slots=True)
class Ellipse:
    """95 % ellipse of a position: semi-axes (m) and the angle of the longer one (rad from the x axis)."""

    major_m: float
    minor_m: float
    angle_rad: float


@dataclass(frozen=True, slots=True)
class Diversion:
    """An exit led to ``state`` (a path), whose ``tries`` were used up, so that it led elsewhere."""

    state: str
    tries: int


@dataclass(frozen=True, slots=True)
class StateChange:
    """The behaviour went from one state to another.

    Attributes:
        left, entered: paths such as ``pick_up/approach``; ``left`` is empty at the start.
        exit: the text of the exit that was taken, as in the file (``when target.seen confirm 3 of 5``).
        where: ``file:line`` of that exit.
        values: the signals that its condition reads, as they were.
        outcome: how what was being done had ended: ``done``, ``failed: <why>``, or '' if it had not.
        awaited: of a way out by ``after``: the exits that were waited for in vain, and how far each was.
        diversions: the states that the exit would have led to but for their tries, first first.
    """

    left: str
    entered: str
    exit: str
    where: str
    values: Mapping[str, object] = field(default_factory=dict)
    outcome: str = ""
    awaited: tuple[Awaited, ...] = ()
    diversions: tuple[Diversion, ...] = ()


TAKEN_OUT = "taken out"
"""What happens to an object that had been counted as left in the tray and is in the jaws again: it counts no more."""


@dataclass(frozen=True, slots=True)
class ObjectEvent:
    """Something happened to an object, at (x, y) (m, field frame).

    Attributes:
        number: of the object in this run, from 1; of finds, deliveries and what is given up it is their ``object``.
        what: ``seen``, ``seen again``, ``forgotten``, ``chosen``, ``tried`` (the last straight way to it begins),
            ``gripped`` (the jaws closed), ``held`` or ``not held`` (what told of the grip), ``gripped again`` (after it
            was lost, or counted), ``taken out`` (what was counted as left in the tray is in the jaws again, and counts
            no more), ``recalled`` (after it was put off), ``set down`` (the jaws opened over a slot),
            ``seen in the tray``.
        why: what tells so.
    """

    number: int
    kind: str
    what: str
    x: float
    y: float
    why: str = ""


@dataclass(frozen=True, slots=True)
class Find:
    """An object was gripped: where it stood (m, field frame), with the covariance of that (m^2).

    One object is one find: gripped again where it was found before, it has its number again, and the later find counts.
    """

    number: int
    kind: str
    x: float
    y: float
    xx: float
    xy: float
    yy: float
    object: int = 0


SEEN, FELT, BELIEVED = "seen", "felt", "believed"
"""How a delivery is known: the object was seen in the tray, the jaws held it and were felt to have let go, or not."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """An object was left at (x, y) in the tray, for a slot of it, and the robot has drawn back.

    Attributes:
        number: counts all deliveries, those that are only believed included.
        chance_inside_zone: how likely it is that it lies wholly inside the tray.
        known_by: `SEEN`, `FELT`, or `BELIEVED` where nothing could tell; that one is not counted.
        object: its number, as in `ObjectEvent`; 0 where it is not known.
        why: what told so.
    """

    number: int
    kind: str
    slot: int
    x: float
    y: float
    chance_inside_zone: float = 1.0
    known_by: str = BELIEVED
    object: int = 0
    why: str = ""


@dataclass(frozen=True, slots=True)
class GivenUp:
    """An object was left where it is, or lost on the way; ``object`` is its number, as in `ObjectEvent`."""

    kind: str
    x: float
    y: float
    why: str
    object: int = 0


@dataclass(frozen=True, slots=True)
class HealthChange:
    """A device's health is another one now."""

    device: str
    health: Health
    why: str


@dataclass(frozen=True, slots=True)
class HoldBack:
    """The limits began (or, with ``ended``, ceased) to take motion away."""

    cause: str
    ended: bool = False


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop latched."""

    cause: str


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else that a person would want to read afterwards; ``kind`` groups them (fault, activity, seen)."""

    kind: str
    text: str


Event = StateChange | ObjectEvent | Find | Delivery | GivenUp | HealthChange | HoldBack | Stop | Note


@dataclass(frozen=True, slots=True)
class TrackPoint:
    """Where the robot believed to be (m, rad, field frame), with standard deviations, and what it was doing."""

    x: float
    y: float
    heading: float
    sigma_x: float
    sigma_y: float
    sigma_heading: float
    state: str
