"""The check of the motors: each is turned alone, and somebody looks, or nobody does; `wheels` judges."""

from collections.abc import Iterable, Sequence
from functools import partial

from rover.devices.readings import WheelCounts
from rover.motion.wheels import past_dead_band
from rover.readiness import sensors, wheels
from rover.readiness.finding import Correction, Finding, Verdict, judged
from rover.readiness.stand import SETTLE_S, RobotOnStand
from rover.session.by_hand import TimedReading, step_held

TRIAL_S = 1.0
LOW_DUTY = 0.15
"""Past the dead band, as a share of what is left."""
EXPECTED = "each motor turns its own wheel forwards, and its own counts alone go up"


class RestartedError(Exception):
    """The co-processor restarted under way."""


def check_motors(stand: RobotOnStand) -> Finding:
    """Turn each motor alone, and find out what that moves and counts.

    Raises:
        NotPermittedError: motion is not permitted.
    """
    stand.permit()
    if not stand.session.wait_for(lambda: "counts" in stand.session.latest, 1.0):
        advice = "see check 'link', and 'counts:' in the robot file"
        return judged("motors", False, "no counts come in", EXPECTED, advice)
    try:
        trials = (_trial(stand, "left"), _trial(stand, "right"))
    except RestartedError:
        advice = "motors pull its supply down: give it one of its own, thicker wires, a charged battery"
        return judged("motors", False, "the co-processor restarted as a motor started", "it runs on", advice)
    found = wheels.diagnose(stand.robot, trials)
    return Finding(
        *("motors", Verdict.OTHERWISE if found.mistakes else Verdict.AS_EXPECTED),
        *("; ".join(map(_in_words, trials)), EXPECTED),
        *(tuple(found.mistakes), tuple(found.advice)),
        *(_corrections(stand, found.settings), _corrections(stand, found.alternatives)),
    )


def _corrections(stand: RobotOnStand, settings: Iterable[wheels.Setting]) -> tuple[Correction, ...]:
    return tuple(stand.correction(each.family, each.key, str(each.value).lower()) for each in settings)


def _trial(stand: RobotOnStand, side: str) -> wheels.Trial:
    rest = sensors.amps_of(stand.session.watch(SETTLE_S))
    before: WheelCounts = stand.session.latest["counts"].value
    duty = past_dead_band(LOW_DUTY, stand.robot.devices.drive.dead_band)
    readings = stand.drive(duty if side == "left" else 0.0, duty if side == "right" else 0.0, TRIAL_S)
    after: WheelCounts = stand.session.latest["counts"].value
    if after.boot != before.boot:
        raise RestartedError
    counts = (after.left - before.left, after.right - before.right)
    return wheels.Trial(side, counts, _seen_turning(stand, side), _drawn(readings, rest))


def _drawn(readings: Sequence[TimedReading], rest: float | None) -> float | None:
    """Return the most current (A) above that at rest, where it is measured."""
    amps = [value.amps for value in sensors.values_of(readings, "battery") if value.amps is not None]
    return max(amps) - rest if amps and rest is not None else None


def _seen_turning(stand: RobotOnStand, side: str) -> wheels.SeenTurning | None:
    person, step = stand.person, partial(step_held, stand.session)
    if person is None:
        return None
    question = f"The {side} motor was commanded. Which wheel turned?"
    answer = person.choose(question, ("left", "right", "both", "none"), step)
    if answer in ("both", "none"):
        return wheels.SeenTurning(wheels.SIDES if answer == "both" else ())
    way = person.choose(f"Which way did the {answer} wheel turn?", ("forwards", "backwards"), step)
    return wheels.SeenTurning((answer,), way == "forwards")


def _in_words(trial: wheels.Trial) -> str:
    counts = f"{trial.side} motor alone: counts {trial.counts[0]:+d} left, {trial.counts[1]:+d} right"
    seen = trial.seen
    if seen is None:
        return counts
    way = f" {'forwards' if seen.forwards else 'backwards'}" if len(seen.sides) == 1 else ""
    return f"{counts}, {' and '.join(seen.sides) or 'no'} wheel turned{way}"
