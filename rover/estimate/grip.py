"""Whether the jaws hold something, from whatever can tell: camera, feedback, opening, an echo that comes along.

Each teller gives a verdict of its own: yes, no, or nothing. Once all that are at work have looked, their verdicts make
one *look* of the grip, so that the slowest sets the pace. They agree, and that is the answer; they contradict each
other, and nobody knows. A teller that is lost or doubted is left out of it, and the others go on.

That no echo comes from the jaws proves little, since much sends none back: it counts where nothing else tells, and only
there an echo is waited for.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from rover.devices.range.keys import RangeKeys
from rover.devices.readings import JawsValue, RangeValue
from rover.files.errand import Kind
from rover.files.grip import jaws_distance, tellers
from rover.files.robot import Robot

TUG = 0.06
"""What stays at the jaws while the robot draws back by this much (m) comes along."""
GONE_AFTER = 3
"""So many looks in a row without it, and what was to come along has to do so from the beginning."""
SILENT_AFTER = 8
"""So many pings in a row without an echo, and nothing stands before the range finder."""
ECHO_SLACK = 0.025
"""An echo this much (m) off what the jaws hold is of something else: what is pushed before closed jaws is 4 cm off."""
SETTLE = 0.1
"""Seconds after the jaws' travel time before they are taken to have arrived: nothing tells of them before."""
NEARLY_CLOSED, NEARLY_OPEN = 0.06, 0.9
"""Jaws that stop below the one hold nothing; above the other they have opened."""
WIDTH_SLACK = 0.15
"""Share of the full opening within which jaws stop at a thing's width: they grip it aslant, and lids overhang."""

Verdict = bool | None


class GripLook(NamedTuple):
    """What all that is at work says at once.

    Attributes:
        is_held: None where it contradicts itself.
        taken_ns: when the oldest part of it was true.
    """

    is_held: Verdict
    taken_ns: int


class ComesAlong:
    """Whether something at the jaws stays there while the robot draws back."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """Begin afresh."""
        self._farthest, self._absent, self._proven = -math.inf, 0, False

    def look(self, *, is_there: bool, way: float) -> bool:
        """Take a look in; ``way`` is how far (m) the robot has gone by then, backwards negative. Return if proven."""
        self._absent = 0 if is_there else self._absent + 1
        if self._absent >= GONE_AFTER:
            self.forget()
        elif is_there:
            self._farthest = max(self._farthest, way)
            self._proven = self._proven or self._farthest - way >= TUG
        return is_there and self._proven


class _Teller:
    """One device's part: its latest verdict, and when that was true."""

    __slots__ = ("along", "has_looked", "limits", "silent", "taken_ns", "verdict")

    def __init__(self, limits: tuple[float, float] | None = None) -> None:
        self.along = ComesAlong()
        self.limits = limits
        self.verdict: Verdict = None
        self.has_looked = False
        self.taken_ns = self.silent = 0

    @property
    def is_weak(self) -> bool:
        """It says that nothing is held, because no echo comes."""
        return self.limits is not None and self.verdict is False

    def say(self, verdict: Verdict, taken_ns: int) -> None:
        self.verdict, self.taken_ns, self.has_looked = verdict, taken_ns, True

    def forget(self) -> None:
        self.verdict, self.has_looked, self.silent = None, False, 0
        self.along.forget()


class GripEstimate:
    """What is known of the grip.

    Args:
        robot: who can tell.
        kinds: what is to be held.

    Attributes:
        latest: the latest look; that the jaws are commanded otherwise is one that knows nothing.
        looks: how many there were.
        is_telling: some teller is at work.
    """

    def __init__(self, robot: Robot, kinds: Mapping[str, Kind]) -> None:
        gripper = robot.devices.gripper
        self.latest = GripLook(None, 0)
        self.looks = 0
        self.is_telling = False
        self._tellers: dict[str, _Teller] = {}
        self._is_seen_whatever_it_is = True
        for kind in kinds.values():
            for one in tellers(robot, kind):
                if not one.why_not:
                    self._tellers.setdefault(one.device, _Teller(_limits(robot, one.device, kinds)))
                elif one.device == "camera":
                    self._is_seen_whatever_it_is = False
        self._travel_ns = 0 if gripper is None else round((gripper.travel_time + SETTLE) * 1e9)
        self._openings = _openings(robot, kinds)
        self._wanted: float | None = None
        self._arrives_ns = 0
        self._way = 0.0
        self._has_news = False

    @property
    def felt(self) -> Verdict:
        """What the jaws' own feedback says."""
        teller = self._tellers.get("gripper")
        return None if teller is None else teller.verdict

    @property
    def evidence(self) -> str:
        """What each teller says, in words: ``camera: held; gripper: nothing``."""
        words = {True: "held", False: "not held", None: "nothing"}
        return "; ".join(f"{device}: {words[teller.verdict]}" for device, teller in self._tellers.items())

    def commanded(self, opening: float | None, now_ns: int) -> None:
        """Take note of the opening that is commanded: once it is another, nothing is known until it is told anew."""
        if opening == self._wanted:
            return
        self._wanted, self._arrives_ns = opening, now_ns + self._travel_ns
        self.latest, self.looks = GripLook(None, now_ns), self.looks + 1
        for teller in self._tellers.values():
            teller.forget()

    def moved(self, metres: float) -> None:
        """Account for the robot's own motion (m, backwards negative)."""
        self._way += metres

    def see(self, *, is_between: bool, taken_ns: int) -> None:
        """Take in whether a frame shows something between the jaws.

        Between closed ones it is held; between open ones, only if it has come along.
        """
        teller = self._teller("camera", taken_ns)
        if teller is None:
            return
        came_along = teller.along.look(is_there=is_between, way=self._way)
        if not is_between:
            teller.say(False if self._is_seen_whatever_it_is else None, taken_ns)
        else:
            is_closed = self._wanted is not None and self._wanted < 0.5
            teller.say(True if is_closed or came_along else None, taken_ns)

    def feel(self, value: JawsValue, taken_ns: int) -> None:
        """Take in what the jaws report; what their switch or current says and their opening may contradict."""
        teller = self._teller("gripper", taken_ns)
        if teller is not None:
            teller.say(joined([value.holding, self._by_opening(value.opening)]), taken_ns)

    def hear(self, device: str, value: RangeValue, taken_ns: int) -> None:
        """Take in an echo. One ping that no echo comes back from tells nothing, many tell that nothing is there."""
        teller = self._teller(device, taken_ns)
        if teller is None:
            return
        teller.silent = teller.silent + 1 if value.distance is None else 0
        if value.distance is None:
            is_gone = teller.silent >= SILENT_AFTER
            if is_gone:
                teller.along.forget()
            teller.say(False if is_gone else None, taken_ns)
            return
        near, far = teller.limits or (0.0, 0.0)
        is_there = near <= value.distance <= far
        came_along = teller.along.look(is_there=is_there, way=self._way)
        teller.say((True if came_along else None) if is_there else False, taken_ns)

    def look(self, is_at_work: Callable[[str], bool]) -> bool:
        """Join the verdicts if all who are at work have one; return whether there is a new look.

        Args:
            is_at_work: whether a device is healthy and not doubted.
        """
        at_work = [teller for device, teller in self._tellers.items() if is_at_work(device)]
        self.is_telling = bool(at_work)
        waited_for = [teller for teller in at_work if teller.limits is None] or at_work
        if not self._has_news or not all(teller.has_looked for teller in waited_for):
            return False
        self._has_news = False
        for teller in at_work:
            teller.has_looked = False
        told = [teller for teller in at_work if teller.verdict is not None]
        told = [teller for teller in told if not teller.is_weak] or told
        if not told:
            return False
        self.latest = GripLook(joined([one.verdict for one in told]), min(teller.taken_ns for teller in told))
        self.looks += 1
        return True

    def _teller(self, device: str, taken_ns: int) -> _Teller | None:
        """Return a device's part, which has something new to say; None if it has no part, or the jaws still move."""
        teller = self._tellers.get(device)
        if teller is None or taken_ns < self._arrives_ns:
            return None
        self._has_news = True
        return teller

    def _by_opening(self, opening: float | None) -> Verdict:
        """Return what the opening tells at which the jaws stopped."""
        if opening is None or self._wanted is None:
            return None
        if opening <= NEARLY_CLOSED or opening >= NEARLY_OPEN:
            return False
        if not self._openings:
            return True
        if any(abs(opening - due) <= WIDTH_SLACK for due in self._openings):
            return True
        return False if opening > max(self._openings) else None


def joined(verdicts: Sequence[Verdict]) -> Verdict:
    """Return what all verdicts agree on, those left out that say nothing; None where they contradict each other."""
    told = {verdict for verdict in verdicts if verdict is not None}
    return told.pop() if len(told) == 1 else None


def _limits(robot: Robot, device: str, kinds: Mapping[str, Kind]) -> tuple[float, float] | None:
    """Return between which distances (m) an echo is of what the jaws hold; None of what is no range finder."""
    keys = robot.devices.fitted()[device]
    if not isinstance(keys, RangeKeys):
        return None
    due = [jaws_distance(keys, robot.body, kind) for kind in kinds.values()]
    return min(due) - ECHO_SLACK, max(due) + ECHO_SLACK


def _openings(robot: Robot, kinds: Mapping[str, Kind]) -> tuple[float, ...]:
    """Return the openings at which the jaws stop on what there is to hold; none where their width is not known."""
    gripper = robot.devices.gripper
    if gripper is None or gripper.opens_to is None:
        return ()
    return tuple(kind.width / gripper.opens_to for kind in kinds.values())
