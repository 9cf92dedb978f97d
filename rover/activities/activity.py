"""What an activity sees, and what an activity is."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Any, ClassVar, Protocol

from rover.activities.output_values import OutputValues
from rover.behaviour.vocabulary import ActivitySpec, Progress, Signals
from rover.errand.ledger import Ledger
from rover.estimate.field import Ground
from rover.estimate.fixes import FARTHEST_WALL, FixCounts
from rover.estimate.grip import GripEstimate
from rover.estimate.pose import PoseFilter
from rover.events import Event, Note
from rover.files.errand import Errand
from rover.files.robot import Robot
from rover.geometry import XY, Pose
from rover.motion.explored import Explored
from rover.motion.free_space import FreeSpace
from rover.motion.heard import Heard
from rover.motion.request import STILL, Request
from rover.vision.targets import Sighting, TargetMemory

IN_JAWS_FOR_NS = 1_000_000_000
"""What was seen between closed jaws is taken to be there for so long, though a frame misses it."""


@dataclass
class Knowledge:
    """All that the robot knows in one step. An activity reads it, and changes ledger and targets by their methods.

    Attributes:
        now_ns, seconds: time of the step, and since the last one.
        pose: estimated pose.
        filter: the pose filter, for covariances and speeds.
        fixes: how often the position has been fixed so far.
        space: boundary and walls, as the robot's outline meets them.
        explored: the ground that is known to be free.
        heard: what was heard to stand about.
        grip: what is known of what the jaws hold; conditions read it as ``grip.held``.
        sighted: all objects of the newest frame, also those that are done with.
        between_jaws: the one of them that stands between the jaws, be they open or closed.
        jaws: opening last commanded, None before the first command.
        in_jaws_ns: when something was last seen between closed jaws; None: since they were opened, never.
        outputs: what outputs of one's own are set to.
        held_back_for: seconds for which the limits have taken motion away because of what is in the way. A device that
            is missing does not count: wheels stand still meanwhile, and the errand goes on when it returns.
        obstacle: what is close ahead is among it.
        gap_ahead: the way (m) to what was close ahead last.
        is_stalled: the wheels were driven and did not turn; true for one step, then they are driven again.
        answer: the operator's, to the last question: ``yes``, ``no`` or ``none``.
        random: a generator that depends on the run's seed, the state and its count of entries, and on nothing else.
        events: of this step, for the run record.
    """

    robot: Robot
    errand: Errand
    ground: Ground
    filter: PoseFilter
    signals: Signals
    targets: TargetMemory
    ledger: Ledger
    pose: Pose
    fixes: FixCounts = field(default_factory=FixCounts)
    now_ns: int = 0
    seconds: float = 0.02
    jaws: float | None = None
    in_jaws_ns: int | None = None
    held_back_for: float = 0.0
    obstacle: bool = False
    gap_ahead: float = math.inf
    is_stalled: bool = False
    answer: str = "none"
    random: Random = field(default_factory=lambda: Random(0))
    events: list[Event] = field(default_factory=list)
    outputs: OutputValues = field(default_factory=lambda: OutputValues({}))
    sighted: Sequence[Sighting] = ()
    between_jaws: Sighting | None = None
    grip: GripEstimate = field(init=False)
    space: FreeSpace = field(init=False)
    explored: Explored = field(init=False)
    heard: Heard = field(init=False)

    def __post_init__(self) -> None:
        """Begin to know nothing of the grip and the ground, and where the body may be."""
        self.space = FreeSpace(self.robot, self.ground, self.errand.widest)
        self.explored = Explored(self.robot)
        self.heard = Heard(self.explored)
        self.grip = GripEstimate(self.robot, self.errand.kinds)

    @property
    def things(self) -> list[tuple[float, float]]:
        """Where objects stand that are known of: remembered ones, and those in the tray (m)."""
        return [(one.x, one.y) for one in self.targets.objects] + self.ledger.in_tray

    def met_near(self, place: XY) -> list[XY]:
        """Return where something was touched or heard about a place (m) that is no known thing."""
        met = [(one.x, one.y) for one in self.ledger.obstacles.now(self.now_ns) if one.is_touched]
        return met + self.heard.standing(place, self.now_ns, self.things, FARTHEST_WALL)

    @property
    def loaded(self) -> bool:
        """The range finder looks at something held: recorded as carried, or known to be between the closed jaws."""
        if self.ledger.carried is not None or self.signals.grip_held is True:
            return True
        return self.in_jaws_ns is not None and self.now_ns - self.in_jaws_ns < IN_JAWS_FOR_NS

    def trouble(self, why: str) -> None:
        """Count something that failed as a trouble with the object at hand, if there is one."""
        self.ledger.stories.trouble(why)

    def note(self, kind: str, text: str) -> None:
        """Have something recorded that a person would want to read afterwards; ``kind`` groups such notes."""
        self.events.append(Note(kind, text))

    def ask(self, question: str) -> None:
        """Ask the operator for yes or no; ``answer`` is ``none`` until it comes."""
        self.answer = "none"
        self.note("question", question)


class Activity(Protocol):
    """One activity at work. Made as ``Class(known, values)`` when its state is entered; `step` is called each step.

    ``progress`` tells how it stands; once it is no longer UNDER_WAY the wheels are at zero and `step` is not called.
    One that fails says why in ``why``, which goes into the run record. An exception ends it as FAILED too (R12).
    """

    spec: ClassVar[ActivitySpec]
    progress: Progress = Progress.UNDER_WAY
    why: str = ""

    def __init__(self, known: Knowledge, values: Mapping[str, Any]) -> None:
        """Begin."""

    def step(self, known: Knowledge) -> Request:
        """Return what is wanted of wheels and jaws now."""
        ...

    def done(self) -> Request:
        """End as done, and want nothing."""
        self.progress = Progress.DONE
        return STILL

    def fail(self, why: str) -> Request:
        """End as failed, for a reason that goes into the run record, and want nothing."""
        self.progress, self.why = Progress.FAILED, why
        return STILL


class Deed(Activity):
    """An activity that is done as soon as it begins; what it does stands in its constructor."""

    progress = Progress.DONE

    def step(self, known: Knowledge) -> Request:
        """Nothing is left to do."""
        return STILL
