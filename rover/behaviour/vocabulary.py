"""What a behaviour file may name: signals, activities and their parameters.

This is the one place for the names of signals. The core fills them (`rover.core`), conditions read them.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING, Any

from rover import quantities
from rover.devices import families
from rover.devices.signals import DeviceSignal
from rover.files.robot import Robot
from rover.kinds import Choice, Kind, Number, Truth, empty


class Progress(IntEnum):
    """How an activity or an inner graph stands."""

    UNDER_WAY = 0
    DONE = 1
    FAILED = 2


@dataclass(frozen=True)
class Signal:
    """One named value that conditions may read; ``about`` is its line in the reference.

    Attributes:
        devices: the devices it is read from; the condition waits for fresh reports of all of them.
        lacking: returns why a robot cannot give it, or ''.
        can_be_unknown: it may be `rover.kinds.NOT_KNOWN` though its devices are healthy.

    What has reports of its own, and is no device, may stand among the devices: the grip, of which several tell.
    """

    kind: Kind
    devices: tuple[str, ...]
    about: str
    lacking: Callable[[Robot], str] = lambda robot: ""
    can_be_unknown: bool = False


@dataclass(frozen=True)
class Parameter:
    """One parameter of an activity; ``positive`` numbers must be more than zero, ``required`` ones must be given."""

    kind: Kind
    about: str
    required: bool = False
    positive: bool = False


@dataclass(frozen=True)
class ActivitySpec:
    """What the language has to know of an activity; ``about`` is its line in the reference.

    Attributes:
        needs: families of device without which it cannot work.
        can_fail: it may end `failed`, so a state that does it needs an exit for that.
        ends: it ends by itself; one that does not never gives `done`.
        waits_for_operator: it ends at the operator's answer, so it needs no way out by time.
        one_of: exactly one of these parameters must be given.
        of_outputs: its parameters are the robot's outputs, at least one of them.
    """

    about: str
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    needs: tuple[str, ...] = ()
    can_fail: bool = True
    ends: bool = True
    waits_for_operator: bool = False
    one_of: tuple[str, ...] = ()
    of_outputs: bool = False


FAMILIES = tuple(families.FAMILIES)
SENSORS = tuple(name for name, family in families.FAMILIES.items() if family.reports)
"""Families that report; the gripper does when it has feedback."""

GRIP = "grip"
"""Whatever tells of the grip, taken as one: a report of it is a look of all that is at work; it is ok while any is."""

_TRUTH, _COUNT, _LENGTH, _ANGLE = Truth(), Number(whole=True), Number(quantities.LENGTH), Number(quantities.ANGLE)
_VOLTAGE, _TIME = Number(quantities.VOLTAGE), Number(quantities.TIME)


def _without_feedback(robot: Robot) -> str:
    lacks = robot.devices.gripper and robot.devices.gripper.feedback == "none"
    return "the gripper has 'feedback: none', so nothing tells how far the jaws are closed" if lacks else ""


def _without_position(robot: Robot) -> str:
    lacks = robot.devices.gripper and robot.devices.gripper.feedback != "position"
    return "the jaws' position needs a gripper with 'feedback: position'" if lacks else ""


SIGNALS: dict[str, Signal] = {
    "run.time": Signal(_TIME, (), "time since the start of the run, stops and holds left out"),
    "pose.x": Signal(_LENGTH, (), "estimated position along the field's x axis"),
    "pose.y": Signal(_LENGTH, (), "estimated position along the field's y axis"),
    "pose.heading": Signal(_ANGLE, (), "estimated heading, counter-clockwise from the x axis"),
    "pose.sigma": Signal(_LENGTH, (), "standard deviation of the position along its worst axis"),
    "pose.heading_sigma": Signal(_ANGLE, (), "standard deviation of the heading"),
    "pose.doubted": Signal(
        _TRUTH, (), "counts or heading were shown to lie, and the pose goes on with less; always known"
    ),
    "pose.travelled": Signal(_LENGTH, (), "distance driven since the start"),
    "target.seen": Signal(_TRUTH, ("camera",), "the chosen target, or with none chosen any candidate, is in the frame"),
    "target.known": Signal(_TRUTH, (), "a target is chosen, in the frame or remembered"),
    "target.distance": Signal(_LENGTH, ("camera",), "distance from the robot's middle to the target in the frame"),
    "target.bearing": Signal(_ANGLE, ("camera",), "direction of the target in the frame, left positive"),
    "target.kind": Signal(Choice(), (), "kind of the chosen target, one of the errand's kinds"),
    "target.reachable": Signal(_TRUTH, (), "nothing is known that bars the way to the chosen target; always known"),
    "target.in_jaws": Signal(_TRUTH, ("camera",), "the target is seen between the jaws, and feedback, if any, agrees"),
    "jaws.opening": Signal(Number(), ("gripper",), "how far the jaws are open, 0 % to 100 %", _without_position),
    "jaws.holding": Signal(
        *(_TRUTH, ("gripper",), "the jaws closed on something"), _without_feedback, can_be_unknown=True
    ),
    "grip.held": Signal(
        *(_TRUTH, (GRIP,), "the jaws hold something, from whatever tells: camera, feedback, an echo that comes along"),
        can_be_unknown=True,
    ),
    "grip.ok": Signal(_TRUTH, (), "something can tell now whether the jaws hold something; always known"),
    "objects.left": Signal(_COUNT, (), "objects not yet in the tray; at least 1 until the field has been searched"),
    "objects.delivered": Signal(_COUNT, (), "objects set down in the tray, and seen there, or felt to be let go"),
    "objects.believed": Signal(_COUNT, (), "objects set down in the tray on which nothing could tell"),
    "objects.known": Signal(_COUNT, (), "objects seen, not delivered and not put off"),
    "objects.put_off": Signal(_COUNT, (), "objects put off"),
    "slots.free": Signal(_COUNT, (), "free slots in the tray"),
    "field.searched": Signal(
        _TRUTH, (), "all of the field that can be looked at has been, since something was last found"
    ),
    "field.unseen": Signal(Number(), (), "share of the field that cannot be looked at; 0 once all expected are in"),
    "motion.held_back": Signal(_TRUTH, (), "the limits are taking motion away"),
    "motion.held_back_for": Signal(_TIME, (), "for how long they have done so"),
    "motion.slowed": Signal(
        _TRUTH, (), "the limits let the robot go slowly only, for want of a device or after both sides stood"
    ),
    "motion.obstacle": Signal(_TRUTH, (), "they do so because something is close ahead"),
    "record.ok": Signal(_TRUTH, (), "run record and saved state are being written; always known"),
    "operator.answer": Signal(Choice(frozenset({"none", "yes", "no"})), (), "the operator's last answer"),
    "operator.chooses": Signal(_TRUTH, (), "the errand's order is 'ask': the operator agrees to each target"),
}


HEALTH = ("ok", "doubted")
"""What conditions may read of every device that reports."""


def _signals_of(device: str, given: Mapping[str, DeviceSignal]) -> dict[str, Signal]:
    """Return the signals of one device that reports."""
    signals = {
        f"{device}.{name}": Signal(one.kind, (device,), one.about, can_be_unknown=one.can_be_unknown)
        for name, one in given.items()
    }
    return signals | {
        f"{device}.ok": Signal(_TRUTH, (), f"the {device} device is healthy; always known"),
        f"{device}.doubted": Signal(_TRUTH, (), f"other sensors have shown that {device} lies; always known"),
    }


for _family in SENSORS:
    SIGNALS |= _signals_of(_family, families.FAMILIES[_family].signals)


def signals_of(robot: Robot) -> dict[str, Signal]:
    """Return all signals that conditions may name on a robot: `SIGNALS`, and those of its further devices."""
    further = (_signals_of(name, robot.devices.signals(name)) for name in robot.devices.further)
    return {name: signal for signals in (SIGNALS, *further) for name, signal in signals.items()}


def devices_of(signal: str) -> tuple[str, ...]:
    """Return the devices that a signal is read from, one of a further device included."""
    if signal in SIGNALS:
        return SIGNALS[signal].devices
    device, _, name = signal.partition(".")
    return () if name in HEALTH else (device,)


def attribute_of(signal: str) -> str:
    """Return the attribute of `Signals` that holds a signal: ``battery.rest_volts`` -> ``battery_rest_volts``.

    Those of further devices have two underscores, which no name has: whatever a person calls theirs, none is another.
    """
    return signal.replace(".", "_" if signal in SIGNALS or signal.rpartition(".")[2] in HEALTH else "__")


class Signals:
    """The values of all signals in one step, its time, and of each device: ok, reports so far, last taken-at.

    Args:
        robot: whose further devices give signals of their own.
    """

    __slots__ = (
        *("step_ns", "__dict__"),
        *(attribute_of(name) for name in SIGNALS),
        *(f"{family}_{part}" for family in (*SENSORS, GRIP) for part in ("n", "t")),
    )

    def __init__(self, robot: Robot | None = None) -> None:
        self.step_ns = 0
        for name, signal in (SIGNALS if robot is None else signals_of(robot)).items():
            setattr(self, attribute_of(name), empty(signal.kind))
        for device in (*SENSORS, GRIP, *(() if robot is None else robot.devices.further)):
            setattr(self, f"{device}_n", 0)
            setattr(self, f"{device}_t", 0)

    if TYPE_CHECKING:  # the slots are made from the table, which a type checker does not read

        def __getattr__(self, name: str) -> Any: ...
        def __setattr__(self, name: str, value: Any) -> None: ...

    def value(self, signal: str) -> Any:
        """Return a signal's value by its name."""
        return getattr(self, attribute_of(signal))


PLACES = {
    "field.start": "where the robot started",
    "field.next_lookout": "the next place to look round from, chosen by what has not been looked at",
    "field.next_place": "the next of the errand's 'places', in their order, round and round",
    "zone.gate": "in front of the free slot of the tray, facing it",
    "target.place": "where the target was last seen",
}
"""Names of places, besides ``field.places.<name>``; each with what it stands for."""
