"""All that a bench file's ``faults`` can do: one row a fault, with its words, what it takes, and what it does.

A fault that lasts sets fields of what the bench keeps of its parts: of one device's reports (`ReportsFault`) or of the
robot (`RobotFault`); the parts read them where they work. One that happens at once names one of
`rover.bench.happenings`. So adding a fault is a row here; only one that does what none does yet needs a field (and the
place on the bench that reads it) or a happening besides.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from rover.files.fault_amounts import (
    A_FACTOR,
    A_LENGTH,
    A_NUMBER,
    A_POINT,
    A_SHARE,
    A_TIME,
    A_TURN_RATE,
    A_VOLTAGE,
    AN_ANGLE,
    SOME_ANGLE,
    SOME_LENGTH,
    SOME_VOLTAGE,
    Takes,
)


@dataclass
class ReportsFault:
    """What is wrong with what a device reports, or is told; as it is made, nothing.

    Attributes:
        silent: nothing comes through.
        stuck: the last value again and again; of the drive, the last command.
        late: s, on top of the usual.
        garbled: share of the reports whose bytes are damaged.
        rebooting: silent, and afterwards it counts from zero.
        factor: on the value; -1 turns its sign round, or the answer.
        noise: standard deviation added, in SI units of the value.
        bias: added, in SI units of the value.
        drift: added to it for each second since something has been wrong, in SI units.
        lag: s; the value is what was so long before, under the time of now.
        says: this whatever is so: how far something is (m), whether the jaws hold, whether the stop circuit is closed,
            whether the battery is charged.
        without_rate: no turn rate beside the angle.
        missing: share of the echoes, or of what a camera sees, that does not come.
        stray: share of the echoes that come from nowhere.
        dark: no light reaches the camera.
    """

    silent: bool = False
    stuck: bool = False
    late: float = 0.0
    garbled: float = 0.0
    rebooting: bool = False
    factor: float = 1.0
    noise: float = 0.0
    bias: float = 0.0
    drift: float = 0.0
    lag: float = 0.0
    says: float | bool | None = None
    without_rate: bool = False
    missing: float = 0.0
    stray: float = 0.0
    dark: bool = False


@dataclass
class RobotFault:
    """What is wrong with the robot's parts; as it is made, nothing.

    Attributes:
        left_motor, right_motor: factor on the speed that a side's motor gives.
        left_wheels, right_wheels: share of a side's way that reaches the ground.
        left_counts, right_counts: factor on what a side's encoder counts.
        sag: V that the battery gives less.
        jaws: factor on the jaws' speed.
        is_stalled: the runtime takes no step.
    """

    left_motor: float = 1.0
    right_motor: float = 1.0
    left_wheels: float = 1.0
    right_wheels: float = 1.0
    left_counts: float = 1.0
    right_counts: float = 1.0
    sag: float = 0.0
    jaws: float = 1.0
    is_stalled: bool = False


Value = bool | float | Callable[[float], float]
"""What a field is set to, or how it comes of what the line gives."""


def _given(amount: float) -> float:
    return amount


def _rest(share: float) -> float:
    return 1.0 - share


@dataclass(frozen=True, eq=False)
class Fault:
    """A row: something that can go wrong.

    Attributes:
        of: whom it happens to, as a line names them; behind ``jar`` and ``wall`` stands which one.
        words: what happens, without what it takes.
        about: what that is, in a line.
        takes: what stands behind the words.
        reports: the fields that it sets of the device's `ReportsFault`.
        robot: those that it sets of the `RobotFault`.
        happens: the one of `rover.bench.happenings` that it is.
        is_at_once: it has no length.
        needs_end: its length has to be given.
    """

    of: tuple[str, ...]
    words: str
    about: str
    takes: Takes | None = None
    reports: Mapping[str, Value] | None = None
    robot: Mapping[str, Value] | None = None
    happens: str = ""
    is_at_once: bool = False
    needs_end: bool = False

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how another process has it: a row is the only one of its kind."""
        return _row, (FAULTS.index(self),)

    @property
    def form(self) -> str:
        """How it is written, such as ``biased by <angle>``."""
        return f"{self.words} <{self.takes.words.partition(' ')[2]}>" if self.takes else self.words

    @property
    def example(self) -> str:
        """The same with an example of what it takes."""
        return f"{self.words} {self.takes.example}" if self.takes else self.words


_REPORTING = ("counts", "heading", "range", "camera", "battery", "gripper", "stop input")


def _by_side(part: str, words: str, about: str, value: Value, takes: Takes | None = None) -> list[Fault]:
    """Return the rows of what happens to one side of a part or to both, which sets the fields of `RobotFault`."""
    plural, fields = f"{part.removesuffix('s')}s", (f"left_{part}", f"right_{part}")
    sides = {plural: fields, f"left {part}": fields[:1], f"right {part}": fields[1:]}
    return [Fault((of,), words, about, takes, robot=dict.fromkeys(names, value)) for of, names in sides.items()]


FAULTS: Final[tuple[Fault, ...]] = (
    # What a device reports, or is told.
    Fault(_REPORTING, "silent", "no report; a gripper hears no command either", reports={"silent": True}),
    Fault(("drive",), "silent", "no command arrives", reports={"silent": True}),
    Fault(("link",), "silent", "nothing passes, either way, for all devices on a link", reports={"silent": True}),
    Fault(
        ("heading", "range", "battery", "gripper", "stop input"),
        "stuck",
        "the last value again and again",
        reports={"stuck": True},
    ),
    Fault(("camera",), "frozen", "the last frame again and again", reports={"stuck": True}),
    Fault(
        ("drive",), "stuck", "goes on with its last command, past the time at which it ends", reports={"stuck": True}
    ),
    Fault((*_REPORTING, "link"), "late by", "reports come so much later", A_TIME, reports={"late": _given}),
    Fault(
        ("heading", "range", "camera"),
        "lagging by",
        "says of now what was so long before",
        A_TIME,
        reports={"lag": _given},
    ),
    Fault(
        (*_REPORTING, "link"),
        "garbled by",
        "share of the reports (of a link, commands too) whose bytes are damaged, so that they are refused",
        A_SHARE,
        reports={"garbled": _given},
    ),
    Fault(
        (*_REPORTING, "link"),
        "rebooting",
        "silent, then anew: numbers and counts from zero (of a link, for all devices on it; its motors stand)",
        reports={"rebooting": True},
        needs_end=True,
    ),
    Fault(
        ("heading", "gripper"),
        "reversed",
        "says the opposite: turns the other way, holds nothing",
        reports={"factor": -1.0},
    ),
    Fault(("gripper",), "says held", "whatever is between the jaws", reports={"says": True}),
    Fault(("gripper",), "says empty", "the same", reports={"says": False}),
    Fault(
        ("heading",), "without rate", "tells the angle alone, as a plain compass does", reports={"without_rate": True}
    ),
    Fault(("range",), "doubled", "twice the distance", reports={"factor": 2.0}),
    Fault(("heading",), "noisy by", "standard deviation on top", SOME_ANGLE, reports={"noise": _given}),
    Fault(("camera",), "noisy by", "the same of where it looks: a loose mount", SOME_ANGLE, reports={"noise": _given}),
    Fault(("range",), "noisy by", "standard deviation on top", SOME_LENGTH, reports={"noise": _given}),
    Fault(("battery",), "noisy by", "standard deviation on top", SOME_VOLTAGE, reports={"noise": _given}),
    Fault(("heading",), "biased by", "so much too far to the left", AN_ANGLE, reports={"bias": _given}),
    Fault(
        ("camera",), "biased by", "looks so much to the left: a mount knocked aside", AN_ANGLE, reports={"bias": _given}
    ),
    Fault(
        ("heading",), "drifting by", "goes so much too far to the left, more and more", A_TURN_RATE, {"drift": _given}
    ),
    Fault(("range",), "biased by", "so much too far", A_LENGTH, reports={"bias": _given}),
    Fault(("battery",), "biased by", "so much too high", A_VOLTAGE, reports={"bias": _given}),
    Fault(("range",), "says", "the same distance, whatever there is", A_LENGTH, reports={"says": _given}),
    Fault(("range",), "no echo", "none comes back", reports={"missing": 1.0}),
    Fault(
        ("range",),
        "missing",
        "share of the echoes that do not come back, besides the usual",
        A_SHARE,
        reports={"missing": _given},
    ),
    Fault(
        ("range",),
        "stray",
        "share of the echoes that come from nowhere, at any distance",
        A_SHARE,
        reports={"stray": _given},
    ),
    Fault(("battery",), "low", "reports an empty battery", reports={"says": False}),
    Fault(("stop input",), "open", "reports an open circuit", reports={"says": False}),
    Fault(("camera",), "dark", "frames without light, which are of no use: no report", reports={"dark": True}),
    Fault(
        ("camera",),
        "flickering by",
        "share of what it sees that a flickering light spoils",
        A_SHARE,
        reports={"missing": _given},
    ),
    # What the robot's parts do.
    *_by_side("counts", "stuck", "reports on, counts nothing", 0.0),
    *_by_side("counts", "reversed", "counts the other way", -1.0),
    *_by_side("counts", "doubled", "counts each twice", 2.0),
    *_by_side("counts", "scaled by", "counts so many times as much", _given, A_FACTOR),
    Fault(
        ("counts", "left counts", "right counts"),
        "jump of",
        "so many counts more, or fewer",
        A_NUMBER,
        happens="counts jump",
        is_at_once=True,
    ),
    *_by_side("motor", "weak by", "share of the speed that it does not give", _rest, A_SHARE),
    *_by_side("motor", "dead", "gives nothing", 0.0),
    *_by_side("motor", "reversed", "turns the other way", -1.0),
    *_by_side("wheels", "off the ground", "they turn and are counted, and do not drive", 0.0),
    Fault(("battery",), "sagging by", "gives so much less, and reports it", SOME_VOLTAGE, robot={"sag": _given}),
    Fault(("gripper",), "jammed", "the jaws do not move", robot={"jaws": 0.0}),
    Fault(("gripper",), "slow by", "share of the speed that the jaws lose", A_SHARE, robot={"jaws": _rest}),
    Fault(("runtime",), "stalled", "takes no step", robot={"is_stalled": True}, needs_end=True),
    # What happens on the floor.
    Fault(("held jar",), "slips", "out of the jaws, if there is one in them", happens="jar slips", is_at_once=True),
    Fault(
        ("jar",), "moved to", "by someone; dropped there if it was held", A_POINT, happens="jar moved", is_at_once=True
    ),
    Fault(
        ("obstacle",),
        "at",
        "a post of 5 cm radius is put there, and taken away at the end",
        A_POINT,
        happens="obstacle",
    ),
    Fault(("obstacle",), "ahead by", "the same, so far in front of the jaws", SOME_LENGTH, happens="obstacle ahead"),
    Fault(("stop",), "pressed", "by someone", happens="stop pressed", is_at_once=True),
    Fault(
        ("robot",),
        "moved by",
        "pushed along x and y of the field; at 0 s: it did not start where the map says",
        A_POINT,
        happens="robot moved",
        is_at_once=True,
    ),
    Fault(("robot",), "turned by", "pushed round to the left", AN_ANGLE, happens="robot turned", is_at_once=True),
    Fault(("marker",), "moved to", "the tray's marker stands there", A_POINT, happens="marker moved", is_at_once=True),
    Fault(
        ("wall",),
        "moved by",
        "a wall of the map stands so far along x and y",
        A_POINT,
        happens="wall moved",
        is_at_once=True,
    ),
)
"""All faults there are, in the order in which the page lists them."""


def _row(at: int) -> Fault:
    return FAULTS[at]


NAMED: Final = {"jar": "number", "wall": "name"}
"""Of whom it has to be said which one, and how that is called."""

LOSSES: Final[Mapping[str, Mapping[str, str]]] = {
    "drive": {"silent": "drive silent", "stuck": "drive stuck", "lying": "motors reversed"},
    "counts": {"silent": "counts silent", "stuck": "counts stuck", "lying": "left counts doubled"},
    "heading": {"silent": "heading silent", "stuck": "heading stuck", "lying": "heading biased by 30 deg"},
    "range": {"silent": "range silent", "stuck": "range stuck", "lying": "range biased by 30 cm"},
    "camera": {"silent": "camera silent", "stuck": "camera frozen", "lying": "camera biased by 10 deg"},
    "gripper": {"silent": "gripper silent", "stuck": "gripper jammed", "lying": "gripper reversed"},
    "battery": {"silent": "battery silent", "stuck": "battery stuck", "lying": "battery biased by 2 V"},
    "stop_input": {"silent": "stop input silent", "stuck": "stop input stuck", "lying": "stop input open"},
    "link": {"silent": "link silent", "lying": "link garbled by 50 %"},
}
"""By family (or ``link``): how a device is lost, in the words of a line without its time."""
