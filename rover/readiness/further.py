"""The checks of what a person has added: further devices report as they should, and outputs can be seen to work."""

from collections.abc import Sequence
from functools import partial

from rover.devices.keys import DeviceKeys
from rover.devices.outputs.keys import OutputKeys, in_si
from rover.devices.readings import Fault, OutputCommand
from rover.readiness.finding import Finding, Verdict, judged, not_tried
from rover.readiness.sensors import is_frequent, rate_of, values_of
from rover.readiness.stand import RobotOnStand
from rover.readiness.values import in_words
from rover.session.by_hand import TimedReading, step_held

LIT_S = 1.0
SILENT = "is it connected, and its 'rate:' the true one? Press, cover or turn it, and repeat with --only further"


def check_further(stand: RobotOnStand) -> Finding:
    """Look at what further devices report at rest."""
    readings, further = stand.at_rest.readings, stand.robot.devices.further
    told = {name: _report_of(name, readings) for name in further}
    wrong = [name for name, keys in further.items() if not _is_well(name, keys, readings)]
    return Finding(
        *("further", Verdict.OTHERWISE if wrong else Verdict.AS_EXPECTED),
        "; ".join(f"{name}: {report}" for name, report in told.items()),
        "each reports at its rate, and what the robot file says",
        mistakes=tuple(f"{name}: {stand.session.faults.get(name) or told[name]}" for name in wrong),
        advice=(SILENT,) * bool(wrong),
    )


def _report_of(name: str, readings: Sequence[TimedReading]) -> str:
    values = values_of(readings, name)
    if not values:
        return "no report"
    last = values[-1]
    return f"{last.why if isinstance(last, Fault) else in_words(last)}, {rate_of(readings, name):.1f} Hz"


def _is_well(name: str, keys: DeviceKeys, readings: Sequence[TimedReading]) -> bool:
    faults = any(isinstance(value, Fault) for value in values_of(readings, name))
    return is_frequent(rate_of(readings, name), keys) and not faults


def check_outputs(stand: RobotOnStand) -> Finding:
    """Set each output that has a ``trial`` and moves nothing to it for a moment, and ask what was to be seen.

    Raises:
        NotPermittedError: motion is not permitted.
    """
    expected = "each goes on, and back to rest"
    outputs = {name: keys for name, keys in stand.robot.outputs.items() if keys.trial is not None and not keys.moves}
    if not outputs:
        return not_tried("outputs", "none has a 'trial:' in the robot file", expected)
    seen = {name: _goes_on(stand, name, keys) for name, keys in outputs.items()}
    if None in seen.values():
        return not_tried("outputs", f"set, and nobody looked: {', '.join(seen)}", expected)
    wrong = ", ".join(name for name, is_right in seen.items() if not is_right)
    advice = "see to its driver and its wires"
    return judged("outputs", not wrong, f"not seen: {wrong}" if wrong else "seen", expected, advice)


def _goes_on(stand: RobotOnStand, name: str, keys: OutputKeys) -> bool | None:
    """Set an output for a moment; return whether the person saw it, None with nobody there."""
    assert keys.trial is not None  # only such are tried
    value = in_si(keys.trial)

    def tell(now_ns: int) -> None:
        command = OutputCommand(value, 0, now_ns + stand.commands_last_ns)
        stand.session.devices.drivers.set_outputs([(name, command)], now_ns)
        stand.session.drive(0.0, 0.0, now_ns + stand.commands_last_ns)

    stand.permit()
    stand.session.watch(LIT_S, tell)
    stand.see_that_it_runs()
    stand.session.watch(LIT_S)
    if stand.person is None:
        return None
    question = f"Did '{name}' go on for a second, and back to rest?"
    return stand.person.choose(question, ("yes", "no"), partial(step_held, stand.session)) == "yes"
