"""The trial of what has drivers of one's own: it moves, this program is halted, and it has to come to rest."""

from collections.abc import Callable, Iterable, Sequence
from functools import partial

from rover.devices.outputs.keys import OutputKeys, in_si
from rover.devices.readings import OutputCommand, WheelCounts
from rover.readiness.finding import Finding, Verdict, not_tried
from rover.readiness.stand import RobotOnStand
from rover.readiness.tried import moving_parts, note_tried
from rover.session.by_hand import TimedReading, step_held
from rover.session.outputs_apart import halt

NAME = "own_deadlines"
EXPECTED = "each comes to rest without commands"
MOVES_S, LOOKED_AT_S = 1.0, 0.4
LONGER_S = 0.5
"""The program is halted for so much longer than the deadline that the robot file states."""
TRIAL_DUTY = 0.35
STALE_NS = 100_000_000
"""What was under way when the program was halted comes in first, and may be given a later time."""
STILL_COUNTS = 3
"""Wheels that stand may still be counted so many times: on the edge of a slit, or rolling back."""


def check_own_deadlines(stand: RobotOnStand) -> Finding:
    """Move each part, halt this program meanwhile, and find out whether the part came to rest.

    Raises:
        NotPermittedError: motion is not permitted.
        TriedError: what was found cannot be noted.
    """
    came_to_rest = {name: _comes_to_rest(stand, name) for name in moving_parts(stand.robot)}
    told = {name: rests for name, rests in came_to_rest.items() if rests is not None}
    note_tried(stand.robot_file, stand.robot, told)
    measured = ", ".join(f"{name}: {_IN_WORDS[rests]}" for name, rests in came_to_rest.items())
    if False in came_to_rest.values():
        wrong = [name for name, rests in came_to_rest.items() if rests is False]
        return Finding(
            *(NAME, Verdict.OTHERWISE, measured, EXPECTED),
            mistakes=tuple(f"the device of '{name}' has no deadline that works" for name in wrong),
            advice=("its firmware has to bring it to rest when no command comes; motion is not enabled before",),
        )
    if None in came_to_rest.values():
        return not_tried(NAME, measured, EXPECTED, "has it power? Answer at a terminal what is to be seen")
    return Finding(NAME, Verdict.AS_EXPECTED, measured, EXPECTED)


_IN_WORDS = {True: "came to rest", False: "WENT ON", None: "not seen to move"}


def _comes_to_rest(stand: RobotOnStand, name: str) -> bool | None:
    """Tell whether a part comes to rest while this program stands still; None: nothing tells."""
    stand.permit()
    under_way = stand.session.watch(MOVES_S, _mover(stand, name))
    stand.see_that_it_runs()
    halted_ns = _halted_while_moving(stand, name)
    rests = _wheels_stand(stand, halted_ns) if name == "drive" else None
    stand.rest()
    if rests and stand.robot.devices.counts.is_own and stand.person is None:
        rests = None  # such counts may be made up of what was commanded
    if rests and not _wheels_turned(under_way):
        rests = None
    if stand.person is None or rests is False:
        return rests
    question = f"Was '{name}' moving, and did it come to rest by itself while this program was halted?"
    return stand.person.choose(question, ("yes", "no"), partial(step_held, stand.session)) == "yes"


def _mover(stand: RobotOnStand, name: str) -> Callable[[int], None]:
    """Return what commands a part once, to be called in every step with the time."""
    session = stand.session
    output = stand.robot.outputs.get(name)
    began_ns = session.now_ns

    def move(now_ns: int) -> None:
        expires_ns = now_ns + stand.commands_last_ns
        session.drive(*((TRIAL_DUTY, TRIAL_DUTY) if name == "drive" else (0.0, 0.0)), expires_ns)
        if name == "gripper":
            half_seconds = (now_ns - began_ns) // 500_000_000
            session.grip(float(half_seconds % 2), expires_ns)
        if output is not None:
            command = OutputCommand(_trial_of(output), 0, expires_ns)
            session.devices.drivers.set_outputs([(name, command)], now_ns)

    return move


def _trial_of(output: OutputKeys) -> float | bool:
    assert output.trial is not None  # the robot file has one for everything that moves
    return in_si(output.trial)


def _halted_while_moving(stand: RobotOnStand, name: str) -> int:
    """Halt this program, and what it keeps outputs in, while a part moves; return when it went on."""
    seconds = moving_parts(stand.robot)[name].own_deadline + LONGER_S
    _mover(stand, name)(stand.session.now_ns)
    stand.session.devices.drivers.halt(seconds)
    halt(seconds)
    return stand.session.now_ns


def _wheels_stand(stand: RobotOnStand, since_ns: int) -> bool | None:
    """Tell by the counts whether the wheels stand, nobody commanding them; None: there are no counts."""
    fresh_ns = since_ns + STALE_NS
    readings = stand.session.watch(LOOKED_AT_S)
    counted = _counted(one for one in readings if one.reading.taken_ns >= fresh_ns)
    return None if counted is None else max(counted) <= STILL_COUNTS


def _wheels_turned(readings: Sequence[TimedReading]) -> bool:
    """Tell whether both wheels turned: so fast that the counts would have told, had they gone on."""
    counted = _counted(readings)
    return counted is not None and min(counted) / MOVES_S > 2.0 * STILL_COUNTS / LOOKED_AT_S


def _counted(readings: Iterable[TimedReading]) -> tuple[int, int] | None:
    """Return what the two wheels were counted on from the first to the last of some readings; None: nothing tells."""
    counts = [one.reading.value for one in readings if isinstance(one.reading.value, WheelCounts)]
    if len(counts) < 2 or counts[0].boot != counts[-1].boot:
        return None
    first, last = counts[0], counts[-1]
    return abs(last.left - first.left), abs(last.right - first.right)
