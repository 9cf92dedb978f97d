"""What the core is without one of its safeguards: null parts, put in for a rehearsal that shows what each is worth."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from rover.behaviour.model import AT_ONCE, BehaviourGraph, ExitNode, GraphNode, StateNode
from rover.core.beyond import Wall
from rover.core.cross_checks import CrossChecks
from rover.core.parts import USUAL, Parts
from rover.core.sides import SURE_OF_ALL, Unsure
from rover.core.targeting import TargetChoice
from rover.devices.readings import BatteryValue, Detection, HeadingValue
from rover.estimate.pose import PoseFilter
from rover.geometry import Pose
from rover.session.assembly import Assembly
from rover.vision.targets import Remembered


class WithoutFixes(PoseFilter):
    """Takes no fix by wall or marker in; the heading sensor it hears as ever."""

    def hear(
        self, name: str, slopes: Sequence[tuple[int, float]], innovation: float, variance: float, least: float = 0.0
    ) -> bool:
        """Correct by a heading; of a fix, which is of a place, say that it was taken."""
        return name != "heading" or super().hear(name, slopes, innovation, variance, least)


class WithoutSlipGate(PoseFilter):
    """Believes both sides' wheels, whatever the turn rate says."""

    def without_slip(self, left: float, right: float, turned: float, seconds: float) -> tuple[float, float]:
        """Return the travel as the wheels tell it."""
        return left, right


class WithoutCommitment(TargetChoice):
    """Takes the best target of each frame, whatever it was at before."""

    def choose(self, pose: Pose, kinds: Sequence[str] | None, barring: Sequence[Remembered] = ()) -> Remembered | None:
        """Choose as if nothing were chosen yet."""
        self.targets.chosen = None
        return super().choose(pose, kinds, barring)


class WithoutCrossChecks(CrossChecks):
    """Doubts nothing."""

    def drive(self, duties: tuple[float, float], told: tuple[float, float], seconds: float) -> None:
        """Expect nothing of it."""

    def count(self, left: float, right: float, seconds: float) -> Unsure:
        """Believe it."""
        return SURE_OF_ALL

    def tell(self, value: HeadingValue, taken_ns: int) -> None:
        """Believe it."""

    def hear(self, device: str, distance: float | None, wall: Wall | None) -> None:
        """Believe it."""

    def see(self, objects: Sequence[Detection], heading: float, taken_ns: int) -> None:
        """Believe it."""

    def measure(self, value: BatteryValue) -> None:
        """Believe it."""


def _without_confirmation(graph: BehaviourGraph) -> BehaviourGraph:
    return _changed(graph, lambda state: state, lambda one: replace(one, confirm=AT_ONCE))


def _without_tries(graph: BehaviourGraph) -> BehaviourGraph:
    return _changed(graph, lambda state: replace(state, at_most=None, diversion=None), lambda one: one)


def _changed(
    graph: BehaviourGraph, of_state: Callable[[StateNode], StateNode], of_exit: Callable[[ExitNode], ExitNode]
) -> BehaviourGraph:
    """Return the behaviour with every state and every exit changed."""

    def changed(one: GraphNode) -> GraphNode:
        return replace(
            one,
            always=tuple(map(of_exit, one.always)),
            states={name: changed_state(state) for name, state in one.states.items()},
        )

    def changed_state(state: StateNode) -> StateNode:
        inner = None if state.graph is None else changed(state.graph)
        return replace(of_state(state), exits=tuple(map(of_exit, state.exits)), graph=inner)

    top = changed(graph.top)
    return replace(graph, top=top, states={state.path: state for state in top.walk()})


class Safeguard(NamedTuple):
    """What a rehearsal without a safeguard is made of.

    Attributes:
        what: is left out, in words.
        parts: of the core.
        graph: what becomes of the behaviour.
    """

    what: str
    parts: Parts = USUAL
    graph: Callable[[BehaviourGraph], BehaviourGraph] = lambda graph: graph


SAFEGUARDS: Mapping[str, Safeguard] = {
    "": Safeguard("nothing"),
    "fixes": Safeguard("fixes of the position by walls and marker", Parts(pose_filter=WithoutFixes)),
    "confirmation": Safeguard("'confirm' at exits: one sample is enough", graph=_without_confirmation),
    "tries": Safeguard("'tries' of states: nothing is put off", graph=_without_tries),
    "slip_gate": Safeguard("the gate for wheels that slip", Parts(pose_filter=WithoutSlipGate)),
    "cross_checks": Safeguard("holding sensors against each other", Parts(cross_checks=WithoutCrossChecks)),
    "commitment": Safeguard("keeping to a target", Parts(target_choice=WithoutCommitment)),
}
"""By the name that ``--without`` takes; '' leaves nothing out."""


def left_out(name: str, assembly: Assembly) -> tuple[Assembly, Parts]:
    """Return an errand and the core's parts for a rehearsal without the safeguard of this name; '': with all."""
    safeguard = SAFEGUARDS[name]
    return replace(assembly, graph=safeguard.graph(assembly.graph), without=name), safeguard.parts
