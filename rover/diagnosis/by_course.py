"""Rules on the course of a run: by which exits it ended, how grips and trips went, what moved its position."""

import math
import re
from collections.abc import Iterator, Mapping

from rover.diagnosis.entry import Entry
from rover.diagnosis.evidence import GIVEN_UP, HELD_BACK, Evidence, Mention
from rover.diagnosis.finding import Gravity, Suspicion
from rover.diagnosis.words import counted, times
from rover.events import Find, StateChange

OF_SIGNALS: Mapping[str, str] = {
    "battery": "battery",
    "camera": "camera",
    "range": "range",
    "heading": "heading",
    "counts": "counts",
    "grip": "gripper",
    "jaws": "gripper",
    "record": "the record's disk",
}
"""Whom an exit that ended the run suspects, by the group of the signals that its condition reads."""
FAR_JUMP = 0.15
"""A fix that moves the position by so much (m) tells that it was wrong."""
GRIPS_A_FIND, SPARE_GRIPS = 1.8, 3
"""More closings of the jaws than so many times the finds, and so many more, and the jaws miss."""
LOST_SHARE = 0.2
"""Share of the finds that are lost on their way."""
GOES_WITHOUT = ("missing'", "doubted'")
"""How hold-backs end that are for want of a device."""
_JUMP = re.compile(r"^by (.+?): from x (\S+) m, y (\S+) m to x (\S+) m, y (\S+) m")


def ended_by_time(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a setting, or a time in the file, that ended the run."""
    for change, happening in _ending_changes(evidence):
        if change.exit.startswith("after "):
            span = change.exit.removeprefix("after ")
            said = f"'{change.left}' was left for '{change.entered}' by '{change.exit}' ({change.where})"
            yield Suspicion(f"setting {span.removeprefix('settings.')}", said, happening, Gravity.ENDED)


def ended_by_signal(evidence: Evidence) -> Iterator[Suspicion]:
    """Find the device that an exit reads which led to the run's end."""
    for change, happening in _ending_changes(evidence):
        for group in dict.fromkeys(
            name.partition(".")[0] for name, value in change.values.items() if _tells(name, value)
        ):
            if whom := OF_SIGNALS.get(group):
                yield Suspicion(whom, f"'{change.exit}' led to '{change.entered}'", happening, Gravity.ENDED)


def _tells(signal: str, value: object) -> bool:
    """Tell whether a signal's value may be why an exit was taken: a device that is well is no reason."""
    if signal.endswith(".ok"):
        return value is not True
    return value is True if signal.endswith(".doubted") else True


def tray_full(evidence: Evidence) -> Iterator[Suspicion]:
    """Find that no slot was free while something was left."""
    for visit in evidence.visits:
        change = visit.left.event if visit.left is not None else None
        if (
            isinstance(change, StateChange)
            and "slots.free == 0" in change.exit
            and change.values.get("slots.free") == 0
        ):
            yield Suspicion(
                "tray", "no slot of the tray was free any more, and something was left", visit.left, Gravity.ENDED
            )
            return


def without_a_device(evidence: Evidence) -> Iterator[Suspicion]:
    """Find the want of which device held the robot back until it gave up."""
    return (one for one in _held_back_to_the_end(evidence) if one.said.endswith(GOES_WITHOUT))


def held_back_by_the_way(evidence: Evidence) -> Iterator[Suspicion]:
    """Find what else held the robot back until it gave up."""
    return (one for one in _held_back_to_the_end(evidence) if not one.said.endswith(GOES_WITHOUT))


def _held_back_to_the_end(evidence: Evidence) -> Iterator[Suspicion]:
    for change, happening in _ending_changes(evidence):
        if any(name.startswith("motion.") for name in change.values):
            before = [one for one in evidence.mentions if one.kind == HELD_BACK and one.at.number < happening.number]
            lasting = [one for one in before if one.at.at_ns + one.seconds * 1e9 >= happening.at_ns]
            for one in lasting[:1]:
                said = f"'{change.exit}' led to '{change.entered}': the robot was held back by '{one.text}"
                yield Suspicion(_whom(one.text), f"{said}'", one.at, Gravity.ENDED, one.seconds)


def _whom(cause: str) -> str:
    """Return whom a hold-back suspects, in words."""
    if cause.endswith((" missing", " doubted")):
        return cause.rpartition(" ")[0]
    if cause.startswith("obstacle"):
        return "range, or something in the way"
    if cause.startswith("contact"):
        return "bumper, or something in the way"
    return {"stalled": "something in the way, or the motors"}.get(cause, cause)


def missed_grips(evidence: Evidence) -> Iterator[Suspicion]:
    """Find jaws that close on nothing, or hold nothing, too often."""
    closings = [one for one in evidence.mentions if one.kind == "gripped"]
    held = len(evidence.run.events_of(Find)) + sum(one.kind == "gripped again" for one in evidence.mentions)
    if len(closings) - held >= SPARE_GRIPS and len(closings) > GRIPS_A_FIND * held:
        said = f"the jaws closed {times(len(closings))}, and held something after {held} of them"
        yield Suspicion("gripper", said, closings[0].at, Gravity.LACKED)


def lost_on_the_way(evidence: Evidence) -> Iterator[Suspicion]:
    """Find jaws that lose what they hold."""
    lost = [one for one in evidence.mentions if one.kind == GIVEN_UP and "lost on the way" in one.text]
    finds = len(evidence.run.events_of(Find))
    if len(lost) >= 2 and len(lost) > LOST_SHARE * finds:
        said = f"{counted(len(lost), 'object')} of {finds} finds were lost on the way to the tray"
        yield Suspicion("gripper", said, lost[0].at, Gravity.LACKED)


def moved_by_fixes(evidence: Evidence) -> Iterator[Suspicion]:
    """Find that a position fix moved the position far."""
    jumps = [jump for jump in _jumps(evidence) if jump[0] > FAR_JUMP]
    if jumps:
        moved, mention = max(jumps, key=lambda jump: jump[0])
        yield Suspicion("position", f"a fix {mention.text.partition(':')[0]} moved it by {moved:.2f} m", mention.at)


def _jumps(evidence: Evidence) -> Iterator[tuple[float, Mention]]:
    for mention in evidence.mentions:
        if mention.kind == "fix" and (found := _JUMP.match(mention.text)):
            x, y, to_x, to_y = map(float, found.groups()[1:])
            yield math.hypot(to_x - x, to_y - y), mention


def _ending_changes(evidence: Evidence) -> Iterator[tuple[StateChange, Entry]]:
    if evidence.run.outcome is None or evidence.run.outcome.result == "done":
        return
    for happening in evidence.ending:
        if isinstance(happening.event, StateChange):
            yield happening.event, happening
