"""Whether the robot may move: one table of phases and acts, for the motor guard, the core and whoever presses keys.

The terms are those of the standards, in their sense but without their certification: a *stop* latches until a
*reset*, which only permits a later, separate *resume* and never starts motion (ISO 13850:2015; ISO 13849-1:2015,
5.2.2); a reset counts on the *release* of its control, so that a jammed one cannot reset (ISO 13849-1); after power-up
or a reconnection nothing moves without a deliberate start (ISO 3691-4:2020, 4.1.14).

On the robot the guard's latch decides, since it outlives the runtime; it tells its phase to everybody who listens, and
the core follows (`rover.session.guard_watch`). In a rehearsal there is the core's alone. ``python -m rover.stopping``
prints the table as it stands in the docs.
"""

from collections.abc import Hashable, Iterator
from enum import Enum, IntEnum
from typing import NamedTuple


class Phase(IntEnum):
    """Where the permission to move stands."""

    NOT_ENABLED = 0  # nobody has given the word since power-up, or whoever commanded has gone or stood still
    STOPPED = 1  # a stop is latched
    RESETTING = 2  # and a reset control is pressed
    READY = 3  # reset; a resume is still due
    RUNNING = 4
    HELD = 5  # the operator holds the robot where it is; a resume alone ends that


class Act(Enum):
    """What persons, devices and programs do about it."""

    ENABLE = "enable motion"
    STOP = "stop"
    PRESS = "press reset"
    RELEASE = "release reset"
    RESUME = "resume"
    HOLD = "hold"
    LAPSE = "the one who commands is gone"


class JawsRule(Enum):
    """What the jaws do in a phase."""

    OBEY = "obey"
    STAY = "stay as they are"
    REST = "do what on_stop says"


class Effect(NamedTuple):
    """What a phase means for those who are told: wheels at zero or obeying, behaviour standing or stepped, and jaws."""

    moves: bool
    jaws: JawsRule


EFFECTS = dict.fromkeys(Phase, Effect(False, JawsRule.REST)) | {
    Phase.RUNNING: Effect(True, JawsRule.OBEY),
    Phase.HELD: Effect(False, JawsRule.STAY),
}

LATCHED = {Phase.STOPPED, Phase.RESETTING}
"""A stop that has not been reset."""

_NOTHING_TO_RESET = "there is no stop to reset"
_PRESS_FIRST = "a reset counts when its control is released after having been pressed since the stop"
_RESET_FIRST = "a stop has to be reset before motion can resume"
_NOT_ENABLED = "motion has not been enabled"
_NOTHING_TO_HOLD = "nothing moves that could be held"

_STANDS_STOPPED: dict[Act, Phase | str] = {
    Act.ENABLE: "",
    Act.STOP: Phase.STOPPED,
    Act.PRESS: Phase.RESETTING,
    Act.RESUME: _RESET_FIRST,
    Act.HOLD: _NOTHING_TO_HOLD,
    Act.LAPSE: "",
}
_NEEDS_NO_RESET: dict[Act, Phase | str] = {
    Act.ENABLE: "",
    Act.STOP: Phase.STOPPED,
    Act.PRESS: _NOTHING_TO_RESET,
    Act.RELEASE: _NOTHING_TO_RESET,
    Act.RESUME: Phase.RUNNING,
    Act.HOLD: Phase.HELD,
    Act.LAPSE: Phase.NOT_ENABLED,
}
TABLE: dict[Phase, dict[Act, Phase | str]] = {
    Phase.NOT_ENABLED: _NEEDS_NO_RESET
    | {Act.ENABLE: Phase.RUNNING, Act.RESUME: _NOT_ENABLED, Act.HOLD: _NOTHING_TO_HOLD},
    Phase.STOPPED: _STANDS_STOPPED | {Act.RELEASE: _PRESS_FIRST},
    Phase.RESETTING: _STANDS_STOPPED | {Act.RELEASE: Phase.READY},
    Phase.READY: _NEEDS_NO_RESET | {Act.HOLD: _NOTHING_TO_HOLD, Act.LAPSE: ""},
    Phase.RUNNING: _NEEDS_NO_RESET,
    Phase.HELD: _NEEDS_NO_RESET,
}
"""What an act leads to: another phase, or why it does nothing ('': it is noted, and the phase stays)."""


class Latch:
    """The phase, and why nothing moves.

    Attributes:
        phase: where it stands.
        cause: why nothing moves; kept through the reset, empty while running.
    """

    def __init__(self, phase: Phase, cause: str = "") -> None:
        self.phase, self.cause = phase, cause
        self._pressed_by: Hashable = None

    @property
    def effect(self) -> Effect:
        """What the phase means for wheels, jaws and behaviour."""
        return EFFECTS[self.phase]

    def act(self, act: Act, cause: str = "", control: Hashable = None) -> str:
        """Take an act; return why it does nothing, or ''.

        Args:
            act: what is done.
            cause: of a stop, a hold or a lapse; the first cause of a stop is kept.
            control: of a reset: what is pressed or released; it has to be the same one.
        """
        after = TABLE[self.phase][act]
        if act is Act.RELEASE and after is Phase.READY and control != self._pressed_by:
            return _PRESS_FIRST
        if not isinstance(after, Phase):
            return after
        self._pressed_by = control if act is Act.PRESS else None
        if after is Phase.RUNNING:
            self.cause = ""
        elif cause and not {self.phase, after} <= LATCHED:
            self.cause = cause
        self.phase = after
        return ""


def rows() -> Iterator[tuple[str, str, str, str]]:
    """Return the table as texts: phase, act, next phase, and who is told what (or why nothing happens)."""
    for phase, acts in TABLE.items():
        for act in Act:
            after = acts[act]
            if isinstance(after, Phase):
                yield phase.name, act.value, after.name, "; ".join(_told(phase, after)) or "nobody"
            else:
                yield phase.name, act.value, phase.name, f"nobody: {after}" if after else "nobody"


def _told(before: Phase, after: Phase) -> Iterator[str]:
    old, new = EFFECTS[before], EFFECTS[after]
    if new.moves != old.moves:
        yield "wheels obey" if new.moves else "wheels to zero"
        yield "behaviour goes on, its state entered afresh" if new.moves else "behaviour stands still"
    if new.jaws is not old.jaws:
        yield f"jaws {new.jaws.value}"
    if before is not after:
        yield "all who listen: the phase and its cause"


def markdown() -> str:
    """Return the table for the docs."""
    head = "| Phase | Act | Next | Who is told what |\n|---|---|---|---|\n"
    return head + "".join(f"| {' | '.join(row)} |\n" for row in rows())


if __name__ == "__main__":
    print(markdown(), end="")
