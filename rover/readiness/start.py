"""From power-up to permitted motion: devices looked at, the stop input tried, and a person's deliberate word."""

from enum import StrEnum
from pathlib import Path

from rover.guard.permission import POWER_UP
from rover.readiness import tried
from rover.readiness.before_start import DEVICES_WITHIN_S, StopTrial, computer_state, findings, is_ready
from rover.readiness.finding import Verdict, table
from rover.readiness.tried import moving_parts
from rover.session.guard_watch import GuardWatch
from rover.session.hardware import RobotDevices, RunError
from rover.session.motion_start import DeviceStates, Say
from rover.session.service import is_managed
from rover.session.terminal import HELP, Terminal

STOP_INPUT_OPEN = "the stop input is open"
PERMITTED_WITHIN_NS = 1_000_000_000
AT_PAGE = "standing still: motion is not enabled; who sees the robot enables it at the operator page"
OR_AT_PAGE = ", or enable it at the operator page"
HOW_TO_ENABLE = (
    "standing still: motion is not enabled. End this run and start it at a terminal, where it asks for a yes, "
    "or with --enable-motion, by a person who sees the robot"
)


class StandsStoppedError(RunError):
    """A stop is latched, and nobody is there to reset it; that ends the run as a stop does."""

    exit_code = 1


class Stage(StrEnum):
    """How far the start has come."""

    CHECKING = "looking at the devices"
    TRYING_STOP = "waiting for the stop input to be tried"
    WAITING = "standing still, motion not enabled"
    ENABLED = "motion enabled"


class Start:
    """Goes from stage to stage, a little in each step (see `rover.session.motion_start.MotionStart`).

    Args:
        devices: what the robot is commanded through.
        terminal: at which a person may be.
        say: shows the person a line.
        folder: where the record is.
        untried: parts with drivers of one's own that have not been seen to come to rest by themselves.
        enable: motion has been enabled already, on the command line.
        has_page: a person may be at the operator page.
    """

    def __init__(
        self,
        devices: RobotDevices,
        terminal: Terminal,
        say: Say,
        folder: Path,
        untried: list[str],
        *,
        enable: bool,
        has_page: bool = False,
    ) -> None:
        self._stage = Stage.CHECKING
        self._robot, self._client = devices.robot, devices.client
        self._terminal, self._say, self._folder, self._enable = terminal, say, folder, enable
        self._untried = untried
        self._has_page = has_page
        self._trial = StopTrial()
        self._began_ns: int | None = None
        self._enabled_ns: int | None = None

    @property
    def is_over(self) -> bool:
        """Motion has been enabled."""
        return self._stage is Stage.ENABLED

    @property
    def status(self) -> str:
        """What is being done or waited for."""
        return self._stage.value

    @property
    def asks(self) -> bool:
        """It waits for a person's word."""
        return self._stage is Stage.WAITING

    def enable(self) -> None:
        """Take a person's word that motion is enabled, given at the operator page, where it waits for one."""
        self._enable = self._enable or self.asks

    def advance(self, now_ns: int, devices: DeviceStates, watch: GuardWatch) -> None:
        """Do what is due in a step.

        Raises:
            RunError: something is not in order; all findings have been shown. Or a stop is latched, with nobody there.
        """
        self._began_ns = now_ns if self._began_ns is None else self._began_ns
        match self._stage:
            case Stage.CHECKING:
                self._judge(devices, (now_ns - self._began_ns) * 1e-9)
            case Stage.TRYING_STOP:
                self._see_stop_input(devices.latest["stop_input"].closed)
            case Stage.WAITING:
                self._enable_at_word(now_ns)
            case Stage.ENABLED:
                self._see_that_it_runs(watch, now_ns)

    def _judge(self, devices: DeviceStates, seconds: float) -> None:
        """Judge what is known of the devices, once all are ok or their time is over."""
        if not is_ready(self._robot, devices.healthy) and seconds < DEVICES_WITHIN_S:
            return
        found = findings(self._robot, self._client.state, devices, seconds, computer_state(self._folder))
        if moving_parts(self._robot):
            found.append(tried.finding(self._untried))
        for line in table(found):
            self._say(line)
        bad = [finding.check for finding in found if finding.verdict is Verdict.OTHERWISE]
        if bad:
            raise RunError(f"not in order: {', '.join(bad)}; nothing was moved")
        if self._robot.devices.stop_input is not None:
            self._stage = Stage.TRYING_STOP
            self._say("try the stop input: press the stop, then release it; motion is not enabled before it has opened")
        else:
            self._ask_for_word()

    def _see_stop_input(self, closed: bool) -> None:
        self._trial.see(closed)
        if self._trial.is_done:
            self._say("stop input: opens and closes, ok")
            self._ask_for_word()

    def _ask_for_word(self) -> None:
        self._stage = Stage.WAITING
        if self._enable:
            return
        self._terminal.forget()
        if self._terminal.is_there:
            self._say(f"nobody near the robot? Type yes and Enter to enable motion{OR_AT_PAGE * self._has_page}")
        elif self._has_page:
            self._say(AT_PAGE)
        else:
            self._say(HOW_TO_ENABLE)

    def _enable_at_word(self, now_ns: int) -> None:
        if not self._enable and "yes" not in self._terminal.read().lower().split():
            return
        self._stage, self._enabled_ns = Stage.ENABLED, now_ns
        state = self._client.state
        # The trial has latched a stop; who tried it and then gives the word, resets it. Any other stop stays.
        if self._trial.is_done and state is not None and state.cause == STOP_INPUT_OPEN:
            self._client.reset()
        self._client.go_on()
        self._terminal.begin_keys()
        if self._terminal.is_there:
            self._say(HELP)

    def _see_that_it_runs(self, watch: GuardWatch, now_ns: int) -> None:
        """Say so if the guard does not permit motion although it was enabled."""
        if self._enabled_ns is None or now_ns - self._enabled_ns < PERMITTED_WITHIN_NS:
            return
        self._enabled_ns = None
        state = self._client.state
        if not watch.moves and state is not None:
            self._wait_for_reset(state.note if state.cause == POWER_UP else state.cause)

    def _wait_for_reset(self, why: str) -> None:
        if self._terminal.is_there:
            self._say(f"motion is not permitted: {why}; press r to reset, then g to go on")
        elif is_managed() or self._has_page:
            self._say(f"motion is not permitted: {why}; waiting for 'rover reset', and then a resume")
        else:
            raise StandsStoppedError(
                f"motion is not permitted: {why}; nobody is at a terminal here to press r and g: type 'rover reset', "
                "then start the run again"
            )
