"""What a rehearsal in which a device was lost shows: it is done, ended or stopped safely, or something went WRONG.

``python -m rover.trials.verdict`` prints the table of rules as it stands in the docs.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from rover.record.run import TrueFigures
from rover.trials.trial import is_honest

ROLLED_M = 0.02
"""A body that has come to rest does not go; on the bench it does so to the micrometre."""
OUTSIDE_M = 0.02
"""A few times the grain (5 mm) of the limits, which leave room besides for a position that is not quite sure."""
TOO_FAST = 1.2
"""Of the speed at which something may be touched, so much more is the wheels' control and not the limits' doing."""

DONE, ENDED, STOPPED, WRONG = "done", "ended safely", "stopped safely", "WRONG"


class Motion(NamedTuple):
    """What was seen of wheels and body.

    Attributes:
        rest_s: from when on the wheels were commanded zero for good.
        after_stop_s: so long they were not, after a stop.
        rolled_m: way that the robot went while its wheels were commanded zero, rolling out left aside.
        without_s: so long the wheels were commanded while they had to stand for want of the device.
        fastest_without_m_s: how fast it was while it had to go slowly for want of it.
    """

    rest_s: float = 0.0
    after_stop_s: float = 0.0
    rolled_m: float = 0.0
    without_s: float = 0.0
    fastest_without_m_s: float = 0.0


STOOD = Motion()


@dataclass(frozen=True)
class Observed:
    """What was observed of a rehearsal. Times are robot time (s) from its start.

    Attributes:
        result, reason: as the behaviour has it, or ``stopped`` and why, or ``error``.
        error: traceback of what nobody foresaw, or of what a person's own code raised.
        lost_s: when the device was lost; None if none was.
        is_success: all was brought, and all that is counted is truly there.
        is_clean: by the robot's own account it is done, nothing is left, and nothing only believed to be there.
        counted: how many objects the robot counts as delivered.
        truth: what truly happened; None where nobody knows.
        ended_s: when the behaviour ended, a stop latched, or it was given up.
        stopped_s: when a stop latched; None without one.
        motion: of wheels and body.
        bumps: the speed (m/s) of each, since the loss.
        contact_speed: what the robot file allows where something may be touched (m/s).
        entered_s: when each state was first entered, by its path.
    """

    result: str
    reason: str
    error: str = ""
    lost_s: float | None = None
    is_success: bool = False
    is_clean: bool = False
    counted: int = 0
    truth: TrueFigures | None = None
    ended_s: float = 0.0
    stopped_s: float | None = None
    motion: Motion = STOOD
    bumps: tuple[float, ...] = ()
    contact_speed: float = 0.15
    entered_s: dict[str, float] = field(default_factory=dict)

    @property
    def fastest_bump_m_s(self) -> float:
        """The fastest of the bumps."""
        return max(self.bumps, default=0.0)


class Rule(NamedTuple):
    """Something that must not be.

    Attributes:
        kind: in a word or two.
        what: it is, in a sentence.
        why: it is wrong, and where the line is drawn.
        shows: what of it a rehearsal shows, with figures; '' for nothing.
    """

    kind: str
    what: str
    why: str
    shows: Callable[[Observed], str]


MOVED, OUTSIDE, BUMPED, COUNTED, NO_END, ERROR = "moved", "outside", "bumped", "counted", "no end", "error"


def _error(seen: Observed) -> str:
    lines = seen.error.strip().splitlines()
    return lines[-1] if lines else ""


def _no_end(seen: Observed) -> str:
    has_ended = seen.result != "stopped" or seen.stopped_s is not None or seen.error
    return "" if has_ended else f"had not ended after {in_words(seen.ended_s - (seen.lost_s or 0.0))}"


def _driven_after_stop(seen: Observed) -> str:
    seconds = seen.motion.after_stop_s
    return f"wheels commanded for {seconds:.1f} s after a stop had latched" if seconds else ""


def _rolled(seen: Observed) -> str:
    way = seen.motion.rolled_m
    return f"went {way:.2f} m with the wheels commanded zero" if way > ROLLED_M else ""


def _driven_without(seen: Observed) -> str:
    seconds = seen.motion.without_s
    return f"wheels commanded for {seconds:.1f} s, though they had to stand without it" if seconds else ""


def _too_fast_without(seen: Observed) -> str:
    speed, allowed = seen.motion.fastest_without_m_s, seen.contact_speed
    return f"went {speed:.2f} m/s, though slowly is {allowed:.2f}" if speed > TOO_FAST * allowed else ""


def _outside(seen: Observed) -> str:
    if seen.truth is None or seen.truth.farthest_outside_m <= OUTSIDE_M:
        return ""
    return f"left the field by {seen.truth.farthest_outside_m:.2f} m for {seen.truth.outside_s:.1f} s"


def _bumped(seen: Observed) -> str:
    speed = seen.fastest_bump_m_s
    return f"ran into something at {speed:.2f} m/s" if speed > TOO_FAST * seen.contact_speed else ""


def _counted(seen: Observed) -> str:
    truth = seen.truth
    if truth is None or is_honest(seen.counted, truth):
        return ""
    if truth.empty_deliveries:
        return f"counted {seen.counted} delivered, {truth.empty_deliveries} of them without one in the tray"
    return f"counted {seen.counted} delivered, and {truth.delivered} are there"


def _said_done(seen: Observed) -> str:
    if not seen.is_clean or seen.is_success or _counted(seen):
        return ""
    left = "" if seen.truth is None else f", and {seen.truth.objects - seen.truth.delivered} are left"
    return f"said it was done ({seen.reason}){left}"


RULES = (
    Rule(
        ERROR,
        "Something was raised that nobody foresaw, or by an activity of your own.",
        "What is decided after it, nobody has thought of. The last line of its traceback is told; JSON has all of it.",
        _error,
    ),
    Rule(
        NO_END,
        "Neither the behaviour nor a stop had ended it an hour after the loss.",
        "Nobody is there to end it. The behaviours that come along give up after 45 min; that is an end, and "
        "its time is told.",
        _no_end,
    ),
    Rule(
        MOVED,
        "The wheels are commanded after a stop has latched.",
        "A stop takes the power from the drive at once (stop category 0), and nobody reset it. Looked at for 3 s.",
        _driven_after_stop,
    ),
    Rule(
        MOVED,
        "The body goes on though the wheels have been commanded zero for a second.",
        "No way to zero takes more than 300 ms, and a motor runs out in five of its time constants (150 ms): then it "
        "has to stand. More than 2 cm by its farther wheel is told, also in 3 s after the end. Nothing in software "
        "stops a drive that is stuck: such a cell says what the hard-wired stop is for.",
        _rolled,
    ),
    Rule(
        MOVED,
        "The wheels are commanded though the robot file's `limits: without:` has them stand by now.",
        "Of a silent device it is known from outside when it is overdue, when its time has run out, and how long the "
        "ramp to zero takes. Counts and heading silent together have it stand at once.",
        _driven_without,
    ),
    Rule(
        MOVED,
        "It goes faster than `contact_speed` though the robot file has it go slowly without a silent device.",
        "As before; 20 % more, over half a second, is left to the wheels' control.",
        _too_fast_without,
    ),
    Rule(
        OUTSIDE,
        "A corner of the outline, jaws included, was beyond the boundary by more than 2 cm.",
        "The limits keep the outline inside, with room for a position that is not quite sure; a robot that knows its "
        "place no better has to stop. The 2 cm are a few times the limits' grain: none of the errands that come along "
        "is outside by a millimetre while nothing is lost. Who has a step there sets `boundary_margin`.",
        _outside,
    ),
    Rule(
        BUMPED,
        "It ran into what does not give way, faster than `contact_speed`.",
        "So fast it may be where something may be touched, and where nothing looks ahead; that is told and not wrong. "
        "20 % more is left to the wheels' control. Of a turn, the speed is that of the outline's farthest corner.",
        _bumped,
    ),
    Rule(
        COUNTED,
        "More is counted as delivered than is in the tray, or nothing came into the tray with a delivery.",
        "Whoever reads the result relies on it.",
        _counted,
    ),
    Rule(
        COUNTED,
        "It says that it is done, with nothing left and nothing only believed to be in the tray, and objects are left.",
        "The same: nobody goes and looks.",
        _said_done,
    ),
)
"""All that makes a cell WRONG; a cell has the kind of the first that shows."""


class Verdict(NamedTuple):
    """What is to be thought of a rehearsal.

    Attributes:
        outcome: `DONE`, `ENDED`, `STOPPED` or `WRONG`.
        kind: of a WRONG one, else ''.
        words: all that is to be said of it.
        after_s: from the loss (without one, from the start) to the end or the stop.
    """

    outcome: str
    kind: str
    words: str
    after_s: float

    @property
    def short(self) -> str:
        """In two or three words."""
        if self.outcome == WRONG:
            return f"{WRONG} {self.kind}"
        return f"{self.outcome.partition(' ')[0]} {in_words(self.after_s)}"


def judge(seen: Observed) -> Verdict:
    """Return what is to be thought of a rehearsal."""
    lost_s = seen.lost_s or 0.0
    after_s = seen.ended_s - lost_s
    wrong = [(rule.kind, words) for rule in RULES if (words := rule.shows(seen))]
    outcome = WRONG if wrong else STOPPED if seen.stopped_s is not None else DONE if seen.is_success else ENDED
    rested_s = seen.ended_s - max(seen.motion.rest_s, lost_s)
    ended = f"{seen.result} ({seen.reason}) after {in_words(after_s)}"
    at_rest = [f"the wheels at rest for the last {in_words(rested_s)} of it"] if rested_s >= 10.0 else []
    said = [*(words for _, words in wrong), ended, *at_rest, *_remarks(seen)]
    return Verdict(outcome, wrong[0][0] if wrong else "", "; ".join(said), after_s)


def _remarks(seen: Observed) -> list[str]:
    """Return what else there is to know, and is not wrong."""
    truth = seen.truth
    bumps = f"bumps: {len(seen.bumps)}, at up to {seen.fastest_bump_m_s:.2f} m/s"
    said: dict[str, object] = {bumps: seen.bumps and not _bumped(seen)}
    if truth is not None:
        said |= {
            f"{truth.delivered} of {truth.objects} in the tray": truth.delivered < truth.objects,
            f"finds of nothing: {truth.empty_finds}": truth.empty_finds,
            f"let go of outside the tray: {truth.let_go_outside}": truth.let_go_outside,
        }
    return [text for text, is_so in said.items() if is_so]


def in_words(seconds: float) -> str:
    """Return a span of time as a person reads it: ``0.4 s``, ``44:12``."""
    if seconds < 60.0:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"


def table() -> str:
    """Return the rules as the docs have them."""
    lines = ["| WRONG | what | why, and where the line is |", "|---|---|---|"]
    return "\n".join([*lines, *(f"| {rule.kind} | {rule.what} | {rule.why} |" for rule in RULES)])


if __name__ == "__main__":
    print(table())
