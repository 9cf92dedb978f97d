"""The check of the gripper: the jaws are sent to both ends, and must not push on there."""

from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

from rover.devices.gripper.keys import GripperKeys
from rover.readiness.finding import Finding, Verdict, not_tried
from rover.readiness.sensors import amps_of, values_of
from rover.readiness.stand import SETTLE_S, RobotOnStand
from rover.session.by_hand import TimedReading, step_held

ENDS_WITHIN = 0.1
STALLS_AMPS = 0.3
EXPECTED = "both ends are reached, and the servo does not push on"


class JawsEnd(NamedTuple):
    """How the jaws stand at one end; what is not known is None.

    Attributes:
        key: of its pulse in the robot file.
        wanted: opening, 0 or 1.
        opening: what the jaws report.
        amps: current (A) above that at rest, while they stand there.
        is_quiet: what the person hears.
    """

    key: str
    wanted: float
    opening: float | None = None
    amps: float | None = None
    is_quiet: bool | None = None

    def __str__(self) -> str:
        parts = [
            "" if self.opening is None else f"opening {self.opening:.2f}",
            "" if self.amps is None else f"{self.amps:+.2f} A",
            "" if self.is_quiet is None else "quiet" if self.is_quiet else "not quiet",
        ]
        return f"{self.key}: {', '.join(filter(None, parts)) or 'nothing told'}"

    @property
    def fits(self) -> bool | None:
        """They came to the end without stalling; None: there is no sign of it or against it."""
        signs = [
            None if self.opening is None else abs(self.opening - self.wanted) <= ENDS_WITHIN,
            None if self.amps is None else self.amps < STALLS_AMPS,
            self.is_quiet,
        ]
        known = [sign for sign in signs if sign is not None]
        return all(known) if known else None


def check_gripper(stand: RobotOnStand) -> Finding:
    """Send the jaws to both ends, and find out whether they stall there.

    Raises:
        NotPermittedError: motion is not permitted.
    """
    gripper = stand.robot.devices.gripper
    assert gripper is not None
    rest = amps_of(stand.session.watch(SETTLE_S))
    ends = [_end(stand, JawsEnd(*end), gripper.travel_time, rest) for end in (("closed", 0.0), ("open", 1.0))]
    measured = "; ".join(map(str, ends))
    if any(end.fits is None for end in ends):
        return not_tried("gripper", f"moved, and nobody looked ({measured})", EXPECTED)
    wrong = [end for end in ends if not end.fits]
    return Finding(
        *("gripper", Verdict.OTHERWISE if wrong else Verdict.AS_EXPECTED, measured, EXPECTED),
        mistakes=tuple(f"the jaws do not come to rest at '{end.key}'" for end in wrong),
        advice=("pull the pulse in until the servo is quiet; see that nothing stands between the jaws",) * bool(wrong),
        changes=tuple(stand.correction("gripper", end.key, _pulled_in(gripper, end.wanted)) for end in wrong),
    )


def _end(stand: RobotOnStand, end: JawsEnd, travel_s: float, rest: float | None) -> JawsEnd:
    """Send the jaws to an end, and return how they stand there, beside the current (A) at rest."""
    stand.permit()
    stand.session.watch(travel_s, lambda now_ns: stand.hold_jaws(end.wanted))
    readings = stand.session.watch(1.0, lambda now_ns: stand.hold_jaws(end.wanted))
    stand.see_that_it_runs()
    amps = amps_of(readings)
    drawn = None if amps is None or rest is None else amps - rest
    return end._replace(opening=_opening_of(readings), amps=drawn, is_quiet=_is_quiet(stand, end))


def _opening_of(readings: Sequence[TimedReading]) -> float | None:
    """Return the last jaw opening (0 to 1) that was reported, if one was."""
    openings = [value.opening for value in values_of(readings, "gripper") if value.opening is not None]
    return openings[-1] if openings else None


def _is_quiet(stand: RobotOnStand, end: JawsEnd) -> bool | None:
    if stand.person is None:
        return None
    question = f"Are the jaws {end.key}, standing still and quiet (no hum)?"
    return stand.person.choose(question, ("yes", "no"), partial(step_held, stand.session)) == "yes"


def _pulled_in(gripper: GripperKeys, wanted: float) -> str:
    """Return the pulse width (us) for an end, a twentieth of the span less far out, as in the robot file."""
    inwards = (gripper.closed - gripper.open) * 0.05
    pulse = gripper.open + inwards if wanted else gripper.closed - inwards
    return f"{pulse * 1e6:.0f} us"
