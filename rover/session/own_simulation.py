"""A simulation of a person's own: loaded by its name and held to the protocol; its drivers instead of built-in ones."""

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from rover.devices.keys import SCRIPTED
from rover.devices.meanwhile import FAILURES
from rover.devices.registry import LoadError, load_class
from rover.devices.with_driver import is_dotted
from rover.errors import UserError, in_words
from rover.files.problems import nearest
from rover.files.robot import Robot
from rover.simulation import Contact, Simulation, SimulationContext, TrueObject

T = TypeVar("T")
NEEDED = ("advance", "pose", "objects", "contacts")


class SimulationError(UserError):
    """A simulation of a person's own has failed, or says what cannot be; the message says which and what."""


class OwnSimulation(Simulation):
    """A person's own simulation at work. What it raises ends the rehearsal; from then on it says what it said last.

    Args:
        name: as in the bench file, ``package.module:Class``.
        context: the files of the rehearsal and its seed.

    Attributes:
        own: itself, as its drivers meet it.

    Raises:
        LoadError: it cannot be had, or lacks what it must have.
        SimulationError: what it says of the start cannot be.
    """

    def __init__(self, name: str, context: SimulationContext) -> None:
        self._name = name
        self._kinds = context.errand.kinds
        self.own = _made(name, context)
        self._has_failed = False
        self._pose = (0.0, 0.0, 0.0)
        self._objects: tuple[TrueObject, ...] = ()
        self._ids: set[str] | None = None
        self._ids = {one.id for one in self.objects}
        self._pose = self.pose

    def advance(self, now_ns: int) -> None:
        """Have it go on."""
        self._ask("advance()", lambda: self.own.advance(now_ns), None)

    @property
    def pose(self) -> tuple[float, float, float]:
        """Where it has the robot."""
        self._pose = self._ask("pose", self._pose_now, self._pose)
        return self._pose

    @property
    def objects(self) -> tuple[TrueObject, ...]:
        """Where it has the objects."""
        self._objects = self._ask("objects", self._objects_now, self._objects)
        return self._objects

    def contacts(self) -> Sequence[Contact]:
        """Return what the robot has run into there."""
        return self._ask("contacts()", self._new_contacts, ())

    def _ask(self, what: str, ask: Callable[[], T], last: T) -> T:
        if self._has_failed:
            return last
        self._has_failed = True
        try:
            answer = ask()
        except SimulationError as error:
            raise SimulationError(f"simulation '{self._name}': {what}: {error}") from None
        except FAILURES as error:
            told = f"simulation '{self._name}': {what} raised {in_words(error)}; the run's record has the traceback"
            raise SimulationError(told) from error
        self._has_failed = False
        return answer

    def _pose_now(self) -> tuple[float, float, float]:
        x, y, heading = map(float, self.own.pose)
        if not math.isfinite(x + y + heading):
            raise SimulationError(f"({x:g}, {y:g}, {heading:g}) is not a place and a heading")
        return x, y, heading

    def _objects_now(self) -> tuple[TrueObject, ...]:
        """Return the objects; the very ones of the last time where nothing has changed."""
        objects = tuple(self.own.objects)
        if objects == self._objects and self._ids is not None:
            return self._objects
        for one in objects:
            if one.kind not in self._kinds:
                hint = nearest(one.kind, self._kinds)
                raise SimulationError(f"there is no kind '{one.kind}' in the errand's 'kinds:'{hint}")
            if not math.isfinite(one.x + one.y):
                raise SimulationError(f"({one.x:g}, {one.y:g}), where '{one.id}' is, is not a place")
        ids = {one.id for one in objects}
        if len(ids) < len(objects):
            raise SimulationError("two have the same id")
        if self._ids is not None and ids != self._ids:
            raise SimulationError(f"{_listed(ids)} are not those of the start, {_listed(self._ids)}")
        return objects

    def _new_contacts(self) -> list[Contact]:
        contacts = [Contact(*one) for one in self.own.contacts()]
        for one in contacts:
            if one.id is not None and one.id not in (self._ids or ()):
                raise SimulationError(f"there is no object '{one.id}'{nearest(one.id, self._ids or ())}")
        return contacts


def _listed(ids: set[str]) -> str:
    return ", ".join(sorted(map(str, ids))) or "none"


def _made(name: str, context: SimulationContext) -> Any:
    try:
        made = load_class(name, "simulation")(context.bench.options, context)
        lacking = [need for need in NEEDED if need not in dir(made)]
    except UserError:
        raise
    except FAILURES as error:
        raise LoadError(f"simulation '{name}' cannot be made: it raised {in_words(error)}") from error
    if lacking:
        raise LoadError(f"simulation '{name}' has no {' and no '.join(lacking)}; DEVELOPERS.md has what it needs")
    return made


def with_stand_ins(robot: Robot, name: str, simulation: Any) -> Robot:
    """Return the robot whose built-in drivers are replaced by a simulation's stand-ins; its own ones stay.

    Raises:
        LoadError: the simulation has none for a device.
    """
    stand_ins = getattr(simulation, "stand_ins", {})
    fitted = robot.devices.fitted()
    built_in = {family: one for family, one in fitted.items() if not is_dotted(one.driver) and one.driver != SCRIPTED}
    for family, device in built_in.items():
        if family not in stand_ins:
            raise LoadError(
                f"{family}: simulation '{name}' has no stand-in for driver '{device.driver}' (it has: "
                f"{', '.join(stand_ins) or 'none'}); name a driver of your own in the robot file"
            )
    replaced = {
        family: device.model_copy(update={"driver": f"{stand_ins[family].__module__}:{stand_ins[family].__qualname__}"})
        for family, device in built_in.items()
    }
    return robot.model_copy(update={"devices": robot.devices.model_copy(update=replaced)})
