"""What a rehearsal asks of the place where it happens: ours (`rover.bench.bench.Bench`), or one of a person's own.

A simulation knows the truth, which no driver may use: where the robot is, where the objects are, what was run into.
The rehearsal asks for it at each step and counts; nothing of it reaches the core.
"""

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar, NamedTuple, Protocol

from rover.files.bench import BenchFile
from rover.files.errand import Errand
from rover.files.robot import Robot


class TrueObject(NamedTuple):
    """An object to fetch as it truly is.

    Attributes:
        id: its name, the same through the whole run.
        kind: one of the errand's.
        x, y: its middle (m, field frame).
        held: it is in the jaws, and goes where they go.
        fallen: it lies on its side.
    """

    id: str
    kind: str
    x: float
    y: float
    held: bool = False
    fallen: bool = False


class Contact(NamedTuple):
    """The robot, or what it holds, ran into something.

    Attributes:
        id: of the object that it ran into or pushed with another one; None for what does not give way (wall, post).
        speed: at which they met (m/s).
    """

    id: str | None
    speed: float = 0.0


class SimulationContext(NamedTuple):
    """What a simulation of a person's own is made with besides its options: the files of the rehearsal and its seed."""

    robot: Robot
    errand: Errand
    bench: BenchFile
    seed: int


class Simulation(Protocol):
    """What is named by ``simulation:`` in a bench file, and made with ``Class(options, context)``.

    Options are what stands under ``options:`` there, quantities as SI floats; ``context`` is a `SimulationContext`.
    The drivers find it as their ``context.bench``.

    Attributes:
        stand_ins: by a device's name, the driver's class that takes the place of a built-in driver here; a person's
            own driver is used as it is.
    """

    stand_ins: ClassVar[Mapping[str, type[Any]]] = {}

    def advance(self, now_ns: int) -> None:
        """Go on to a time (ns from the start), each step before its drivers are polled; never back."""

    @property
    def pose(self) -> tuple[float, float, float]:
        """Where the robot's middle, midway between its wheels, is (m, m, rad, field frame)."""
        ...

    @property
    def objects(self) -> Sequence[TrueObject]:
        """All objects to fetch; the same sequence as before where nothing has changed saves time."""
        ...

    def contacts(self) -> Sequence[Contact]:
        """Return what the robot has run into since the last call."""
        ...
