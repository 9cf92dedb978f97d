"""The walk through bring-up: asks, drives each part by itself through the guard, and hands the readings to judges."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from rover import quantities
from rover.devices.readings import WheelCounts
from rover.events import Note
from rover.files.load import Loaded
from rover.files.robot import Robot
from rover.guard.protocol import Phase
from rover.motion.wheels import past_dead_band
from rover.readiness import sensors, wheels
from rover.readiness.finding import Change, Finding, Verdict, change, judged, not_tried
from rover.readiness.person import Person
from rover.session.by_hand import ManualSession, TimedReading, manual_session
from rover.session.hardware import simulated_in

REST_S = 3.0
TRIAL_S, SETTLE_S = 1.0, 0.5
LASTS_NS = 250_000_000
LOW_DUTY = 0.15
"""Past the dead band, as a share of what is left."""
SILENT = "it says nothing"
STAND = (
    "First of all: put the robot on a stand, wheels off the ground, fingers and cables away from wheels and jaws. "
    "Software is no substitute for a hard-wired emergency stop: have the motor supply's switch within reach."
)


class StoppedError(Exception):
    """Motion is not permitted; the message says why."""


class RestartedError(Exception):
    """The co-processor restarted under way."""


@dataclass(frozen=True)
class BringUpResult:
    """What bring-up came to."""

    robot: str
    as_expected: bool
    findings: tuple[Finding, ...]
    record: str


class BringUp:
    """One walk with a robot at hand; without a ``person``, answers come from the encoders alone."""

    def __init__(self, loaded: Loaded[Robot], at: ManualSession, person: Person | None) -> None:
        self.robot, self.source = loaded.model, loaded.source
        self.at, self.person = at, person
        self._at_rest: list[TimedReading] | None = None
        self._damaged: dict[str, tuple[int, int]] = {}

    def at_rest(self) -> list[TimedReading]:
        """Return what came in during a few seconds at rest; they are waited for once."""
        if self._at_rest is None:
            self.at.poll()
            before = self._line_counts()
            self._at_rest = self.at.watch(REST_S)
            after = self._line_counts()
            self._damaged = {
                name: (after[name][0] - before[name][0], after[name][1] - before[name][1]) for name in after
            }
        return self._at_rest

    def on_links(self) -> dict[str, tuple[int, int]]:
        """Return (lines, damaged ones) during the seconds at rest, by link."""
        self.at_rest()
        return self._damaged

    def _line_counts(self) -> dict[str, tuple[int, int]]:
        return {name: (link.counts.lines, sum(link.damage.values())) for name, link in self.at.devices.links.items()}

    def permit(self) -> None:
        """Have motion permitted.

        Raises:
            StoppedError: it is not to be had.
        """
        if self.at.is_running:
            return
        self.at.client.enable()
        self.at.wait_for(lambda: self.at.is_running or self.phase() is Phase.READY, 1.0)
        if self.phase() is Phase.READY and self.agrees("The stop has been reset. Let motors turn again?"):
            self.at.client.resume()
            self.at.wait_for(lambda: self.at.is_running, 1.0)
        self.see_that_it_runs()

    def see_that_it_runs(self) -> None:
        """Raise if motion is not permitted.

        Raises:
            StoppedError: with the cause.
        """
        state = self.at.state
        if not self.at.is_running:
            raise StoppedError("the guard is silent" if state is None else state.cause or state.note)

    def phase(self) -> Phase | None:
        """Return where the guard's permission stands."""
        return None if self.at.state is None else self.at.state.phase

    def agrees(self, question: str) -> bool:
        """Tell whether the person says yes, or there is none."""
        return self.person is None or self.person.choose(question, ("yes", "no"), self.at.step) == "yes"

    def changes(self, settings: Sequence[wheels.Setting]) -> tuple[Change, ...]:
        """Return the lines of the robot file for settings."""
        return tuple(change(self.source, each.family, each.key, str(each.value).lower()) for each in settings)

    def command(self, left: float, right: float, seconds: float) -> list[TimedReading]:
        """Give the wheels duties for a time, then wait for them to stand; return what came in.

        Raises:
            StoppedError: motion was stopped under way.
        """
        heard = self.at.watch(seconds, lambda now_ns: self.at.drive(left, right, now_ns + LASTS_NS))
        self.see_that_it_runs()
        return heard + self.at.watch(SETTLE_S)

    def hold_jaws(self, opening: float) -> None:
        """Say again where the jaws are to be, wheels at zero."""
        expires_ns = self.at.now_ns + LASTS_NS
        self.at.grip(opening, expires_ns)
        self.at.drive(0.0, 0.0, expires_ns)


def check_link(walk: BringUp) -> Finding:
    """Look at the serial links: do whole sentences come, and who sends them?"""
    counts = walk.on_links()
    told = [f"{name}: {lines / REST_S:.0f} lines a second, {bad} damaged" for name, (lines, bad) in counts.items()]
    names = [link.identity.firmware for link in walk.at.devices.links.values() if link.identity is not None]
    fits = all(lines > 0 and bad == 0 for lines, bad in counts.values())
    return judged(
        *("link", fits, "; ".join([*told, *names]), "lines on every link, 0 damaged"),
        "check ground and wires and keep them away from the motors'; 'baud:' as in the board's firmware",
    )


def check_battery(walk: BringUp) -> Finding:
    """Look at the voltage at rest."""
    assert walk.robot.devices.battery is not None
    return sensors.battery_finding(walk.at_rest(), walk.robot.devices.battery)


def check_heading(walk: BringUp) -> Finding:
    """Look at the heading's rate, losses and calibration."""
    assert walk.robot.devices.heading is not None
    return sensors.heading_finding(walk.at_rest(), walk.robot.devices.heading)


def check_camera(walk: BringUp) -> Finding:
    """Look at the camera's frames."""
    assert walk.robot.devices.camera is not None
    finding = sensors.camera_finding(walk.at_rest(), walk.robot.devices.camera)
    trouble = walk.at.devices.drivers.trouble("camera")
    return replace(finding, verdict=Verdict.OTHERWISE, mistakes=(trouble,)) if trouble else finding


def check_turn(walk: BringUp) -> Finding:
    """Have the robot turned by hand, a quarter turn to the left."""
    expected = "+90 deg (to the left, counter-clockwise)"
    if walk.person is None:
        return not_tried(
            "turn", "somebody has to turn the robot by hand", expected, "leave --json and --yes-to-all out"
        )
    heard: list[TimedReading] = walk.at.watch(0.2)
    question = "Turn the robot by hand a quarter turn to the left, seen from above; then press Enter. "
    walk.person.ask(question, lambda: heard.extend(walk.at.step()))
    heard += walk.at.watch(0.3)
    values = sensors.values_of(heard, "heading")
    return sensors.turn_finding(sensors.turned_by(values)) if values else judged("turn", False, SILENT, expected)


def check_range(walk: BringUp) -> Finding:
    """Hold the range finder against a ruler."""
    assert walk.robot.devices.range is not None
    ruler_m = None if walk.person is None else _ruler(walk.person, walk.at)
    heard = walk.at_rest() if walk.person is None else walk.at.watch(REST_S)
    return sensors.range_finding(heard, walk.robot.devices.range, ruler_m)


def _ruler(person: Person, at: ManualSession) -> float | None:
    question = "Put a box before the range finder. How far is it from the sensor's face by the ruler, such as 50 cm? "
    while answer := person.ask(question, at.step):
        try:
            return quantities.parse_as(answer, quantities.LENGTH)
        except quantities.QuantityError as error:
            person.say(f"{error}\n")
    return None


def check_motors(walk: BringUp) -> Finding:
    """Turn each motor alone, and find out what that moves and counts."""
    expected = "each motor turns its own wheel forwards, and its own counts alone go up"
    walk.permit()
    walk.at.wait_for(lambda: "counts" in walk.at.latest, 1.0)
    if "counts" not in walk.at.latest:
        return judged(
            "motors", False, "no counts come in", expected, "see check 'link', and 'counts:' in the robot file"
        )
    trials = (_trial(walk, "left"), _trial(walk, "right"))
    found = wheels.diagnose(walk.robot, trials)
    return Finding(
        *("motors", Verdict.OTHERWISE if found.mistakes else Verdict.AS_EXPECTED),
        *("; ".join(map(_told, trials)), expected),
        *(tuple(found.mistakes), tuple(found.advice)),
        *(walk.changes(found.settings), walk.changes(found.alternatives)),
    )


def _trial(walk: BringUp, side: str) -> wheels.Trial:
    rest = sensors.amps_of(walk.at.watch(SETTLE_S))
    before: WheelCounts = walk.at.latest["counts"].value
    duty = past_dead_band(LOW_DUTY, walk.robot.devices.drive.dead_band)
    heard = walk.command(duty if side == "left" else 0.0, duty if side == "right" else 0.0, TRIAL_S)
    after: WheelCounts = walk.at.latest["counts"].value
    if after.boot != before.boot:
        raise RestartedError
    counts = (after.left - before.left, after.right - before.right)
    return wheels.Trial(side, counts, _look(walk, side), _drawn(heard, rest))


def _drawn(heard: Sequence[TimedReading], rest: float | None) -> float | None:
    told = [value.amps for value in sensors.values_of(heard, "battery") if value.amps is not None]
    return max(told) - rest if told and rest is not None else None


def _look(walk: BringUp, side: str) -> wheels.SeenTurning | None:
    person, step = walk.person, walk.at.step
    if person is None:
        return None
    question = f"The {side} motor was commanded. Which wheel turned?"
    answer = person.choose(question, ("left", "right", "both", "none"), step)
    if answer in ("both", "none"):
        return wheels.SeenTurning(wheels.SIDES if answer == "both" else ())
    way = person.choose(f"Which way did the {answer} wheel turn?", ("forwards", "backwards"), step)
    return wheels.SeenTurning((answer,), way == "forwards")


def _told(trial: wheels.Trial) -> str:
    seen = trial.seen
    told = f"{trial.side} motor alone: counts {trial.counts[0]:+d} left, {trial.counts[1]:+d} right"
    if seen is None:
        return told
    way = f" {'forwards' if seen.forwards else 'backwards'}" if len(seen.sides) == 1 else ""
    return f"{told}, {' and '.join(seen.sides) or 'no'} wheel turned{way}"


class _End(NamedTuple):
    """One end of the jaws' way: the key of its pulse, the opening, and how the jaws stand there."""

    key: str
    wanted: float
    told: str
    fits: bool | None


def check_gripper(walk: BringUp) -> Finding:
    """Send the jaws to both ends, and find out whether they stall there."""
    gripper = walk.robot.devices.gripper
    assert gripper is not None
    expected = "both ends are reached, and the servo does not push on"
    walk.permit()
    rest = sensors.amps_of(walk.at.watch(SETTLE_S))
    ends = [_end(walk, key, wanted, rest) for key, wanted in (("closed", 0.0), ("open", 1.0))]
    measured = "; ".join(end.told for end in ends)
    if any(end.fits is None for end in ends):
        return not_tried("gripper", f"moved, and nobody looked ({measured})", expected)
    wrong = [end for end in ends if not end.fits]
    return Finding(
        *("gripper", Verdict.OTHERWISE if wrong else Verdict.AS_EXPECTED, measured, expected),
        mistakes=tuple(f"the jaws do not come to rest at '{end.key}'" for end in wrong),
        advice=("pull the pulse in until the servo is quiet; see that nothing stands between the jaws",) * bool(wrong),
        changes=tuple(change(walk.source, "gripper", end.key, sensors.pulled_in(gripper, end.wanted)) for end in wrong),
    )


def _end(walk: BringUp, key: str, wanted: float, rest: float | None) -> _End:
    gripper = walk.robot.devices.gripper
    travel_s = 1.0 if gripper is None else gripper.travel_time
    walk.at.watch(travel_s, lambda now_ns: walk.hold_jaws(wanted))
    heard = walk.at.watch(1.0, lambda now_ns: walk.hold_jaws(wanted))
    walk.see_that_it_runs()
    opening, amps = sensors.opening_of(heard), sensors.amps_of(heard)
    drawn = None if amps is None or rest is None else amps - rest
    is_quiet = None if walk.person is None else _is_quiet(walk, walk.person, key, wanted)
    fits = sensors.end_fits(wanted, opening, drawn, is_quiet)
    return _End(key, wanted, f"{key}: {_end_told(opening, drawn, is_quiet)}", fits)


def _end_told(opening: float | None, drawn: float | None, is_quiet: bool | None) -> str:
    told = [
        "" if opening is None else f"opening {opening:.2f}",
        "" if drawn is None else f"{drawn:+.2f} A",
        "" if is_quiet is None else "quiet" if is_quiet else "not quiet",
    ]
    return ", ".join(filter(None, told)) or "nothing told"


def _is_quiet(walk: BringUp, person: Person, key: str, wanted: float) -> bool:
    def meanwhile() -> None:
        walk.hold_jaws(wanted)
        walk.at.step()

    question = f"Are the jaws {key}, standing still and quiet (no hum)?"
    return person.choose(question, ("yes", "no"), meanwhile) == "yes"


def check_stop_input(walk: BringUp) -> Finding:
    """Have the stop input opened and closed again."""
    expected = "closed; open while it is pressed, which stops; closed again"
    walk.at.wait_for(lambda: "stop_input" in walk.at.latest, 1.0)
    advice = "a normally closed contact between 'pin:' and ground; look for a broken wire, and at 'bias:'"
    at_first = _contact(walk)
    if walk.person is None:
        return judged("stop_input", at_first == "closed", f"{at_first}; not pressed", "closed", advice)
    walk.person.ask("Press the stop and keep it pressed; then press Enter. ", walk.at.step)
    pressed = _pressed(walk)
    walk.person.ask("Release the stop; then press Enter. ", walk.at.step)
    walk.at.watch(0.3)
    released = _contact(walk)
    measured = f"{at_first}; pressed: {pressed}; released: {released}"
    fits = at_first == released == "closed" and pressed in ("open", "open, stopped")
    if walk.phase() is Phase.STOPPED and walk.agrees("Reset the stop? That alone moves nothing."):
        walk.at.client.reset()
        walk.at.wait_for(lambda: walk.phase() is Phase.READY, 1.0)
    return judged("stop_input", fits, measured, expected, advice)


def _pressed(walk: BringUp) -> str:
    """Return how the contact stands, and whether the guard stops at it; one that it does not hold stops a run only."""
    stop = walk.robot.devices.stop_input
    if stop is None or stop.driver != "stop_pin":
        return _contact(walk)
    has_stopped = walk.at.wait_for(lambda: walk.phase() is Phase.STOPPED, 0.5)
    return f"{_contact(walk)}, {'stopped' if has_stopped else 'not stopped'}"


def _contact(walk: BringUp) -> str:
    reading = walk.at.latest.get("stop_input")
    if reading is None:
        return "silent"
    return "closed" if reading.value.closed else "open"


class Check(NamedTuple):
    """A check: the device that it needs, whether it moves anything, and what makes it."""

    family: str
    moves: bool
    make: Callable[[BringUp], Finding]


CHECKS: dict[str, Check] = {
    "link": Check("", False, check_link),
    "battery": Check("battery", False, check_battery),
    "stop_input": Check("stop_input", False, check_stop_input),
    "motors": Check("counts", True, check_motors),
    "gripper": Check("gripper", True, check_gripper),
    "heading": Check("heading", False, check_heading),
    "turn": Check("heading", False, check_turn),
    "range": Check("range", False, check_range),
    "camera": Check("camera", False, check_camera),
}
"""The checks in their order: what must be right before motors turn comes first."""


def make(name: str, walk: BringUp) -> Finding:
    """Return the finding of one check."""
    family = CHECKS[name].family
    if name == "link" and not walk.at.devices.links:
        return not_tried(name, "the robot has no serial link", "lines")
    if family and getattr(walk.robot.devices, family) is None:
        wire_one = ("wire a normally closed stop, and name its pin in the robot file",)
        return not_tried(name, "the robot file has none", "", *(wire_one if family == "stop_input" else ()))
    if family in simulated_in(walk.robot):
        return not_tried(name, "its driver in the robot file is 'simulated'", "", "name a real driver")
    try:
        finding = CHECKS[name].make(walk)
    except StoppedError as error:
        advice = "see to the cause, then reset: rover jog ROBOT, keys r and then g; and repeat with --only"
        return judged(name, False, f"motion is stopped: {error}", "motion is permitted", advice)
    except RestartedError:
        advice = "motors pull its supply down: give it one of its own, thicker wires, a charged battery"
        return judged(name, False, "the co-processor restarted as a motor started", "it runs on", advice)
    if family in walk.at.faults:
        return judged(name, False, walk.at.faults[family], finding.expected, "see to the driver and its device")
    return finding


def chosen(only: Sequence[str]) -> list[str]:
    """Return the checks to make, in their order; all of them where none is named."""
    return [name for name in CHECKS if name in only] if only else list(CHECKS)


def confirm_stand(person: Person) -> bool:
    """Say that the wheels have to be off the ground, and tell whether the person says they are.

    Raises:
        NobodyAnswersError: the input has ended.
    """
    person.say(f"{STAND}\n")
    answer = person.choose("Are the wheels off the ground?", ("yes", "no"), lambda: time.sleep(0.02))
    return answer == "yes"


def bring_up(
    loaded: Loaded[Robot],
    where: tuple[Path | None, Path],
    names: Sequence[str],
    person: Person | None,
    show: Callable[[Finding], None],
) -> BringUpResult:
    """Make checks one after the other, showing each finding as it comes.

    Args:
        loaded: the robot file.
        where: the guard's folder (None: the one of this user), and the file for the run record.
        names: of the checks.
        person: who answers; None: the encoders alone do.
        show: called with each finding.

    Raises:
        NobodyAnswersError: the input has ended.
        ValueError, OSError, LoadError, RecordError: as `manual_session`.
    """
    folder, record = where
    findings = []
    with manual_session(loaded, folder, record, "Bring-up") as at:
        walk = BringUp(loaded, at, person)
        for name in names:
            findings.append(make(name, walk))
            at.record(Note("check", f"{name}: {findings[-1].verdict.value}: {findings[-1].measured}"))
            show(findings[-1])
    is_fine = all(finding.verdict is not Verdict.OTHERWISE for finding in findings)
    return BringUpResult(loaded.model.robot, is_fine, tuple(findings), str(record))
