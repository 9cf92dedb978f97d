"""The guard's process: one poll loop that alone holds the actuators, the stop input and the hardware watchdog.

Whatever happens to the runtime, the wheels are at zero when no valid command came within the deadline. What happens
to this process is the business of the second way to zero: the co-processor's own deadline, or the supervisor.

It is no substitute for a hard-wired emergency stop, and no certified safety function. In the terms of IEC 60204-1
a stop here is an uncontrolled one (category 0) as far as software can: duty zero at once, though the supply of the
motors stays on.
"""

import signal
import sys
import time
from collections.abc import Callable, Collection, Mapping
from pathlib import Path
from typing import Any

from rover.guard.actuators import Actuators
from rover.guard.callers import Callers, Incoming
from rover.guard.output import Output
from rover.guard.permission import Permission
from rover.guard.pin_output import LineAndPins, PinOutput
from rover.guard.protocol import Answer, Ask, Command, Request, State
from rover.guard.serial_output import SerialOutput
from rover.guard.settings import SOCKET_NAME, SPARE_NS, GuardSettings, load_settings
from rover.guard.supervisor import SupervisorLink
from rover.guard.waiting import Waiting
from rover.guard.watchdog import HardwareWatchdog
from rover.stopping import LATCHED, Act, Phase

TELL_EVERY_NS = 100_000_000
GATHER_NS = 25_000_000
READ_AGAIN_NS = 5_000_000
"""What trickles in on a serial line is read when there is a turn anyway, which is at each command (50 a second), and
else after the first of these times: to wake is most of what a turn costs. Ages of readings stay right: to the device's
clock (`rover.link.clock`) this is one more delay that varies, of which the least counts."""
ENOUGH_WAYS = 2
HELD = "by the operator"
ENDED = "the runtime has ended"
SILENT = "the runtime stood still"


class Guard:
    """The loop's body: what came in, what that means, what goes out. One thread."""

    def __init__(self, settings: GuardSettings, output: Output, callers: Callers, supervisor: SupervisorLink) -> None:
        self.permission = Permission()
        self.restarts = 0
        self.watchdog: HardwareWatchdog | None = None
        self.stop_is_open: Callable[[int], bool] = lambda now_ns: False
        self.idle_since_ns = 0
        self._settings, self._output, self._callers, self._supervisor = settings, output, callers, supervisor
        self._actuators = Actuators(settings, output, self.permission)
        self._input_open = False
        self._holder_heard_ns = 0
        self._note = ""
        self._told: tuple[Any, ...] = ()
        self._told_ns = 0
        self.worked_ns = 0

    def descriptors(self) -> tuple[int, int | None]:
        """Return what to poll: the callers' socket for reading, and the supervisor's for its end."""
        return self._callers.descriptor(), self._supervisor.descriptor()

    def patience_ns(self, now_ns: int) -> int:
        """Return how long the loop may wait for something to come in."""
        patience_ns = self._actuators.patience_ns(now_ns)
        if self._output.descriptor() is None or self._callers.is_idle():
            return patience_ns
        return min(patience_ns, max(0, self.worked_ns + GATHER_NS - now_ns))

    def turn(self, now_ns: int, ready: Collection[int | None]) -> None:
        """Take one turn of the loop: a stop is looked at before any command of the same turn.

        Args:
            now_ns: the time.
            ready: those of `descriptors` that have something to say.
        """
        if self.permission.permit_holder and now_ns - self._holder_heard_ns > self._settings.forget_ns:
            # Before anything is taken in: who comes back to life after a while must not move a robot that people take
            # to be dead, and where all stood still at once its first word may be here already.
            self.permission.lapse(SILENT)
        chunk = self._work_output(now_ns)
        incoming = self._callers.receive(now_ns) if self._callers.descriptor() in ready else []
        if self._supervisor.descriptor() in ready:
            self._supervisor.listen(now_ns)
        for address, value in incoming:
            if isinstance(value, Request):
                self._take_request(address, value, now_ns)
        self._look_at_stops(now_ns)
        if incoming:
            self._take_newest(incoming, now_ns)
        if self._output.fault and self.permission.phase is not Phase.NOT_ENABLED:
            self.permission.stop(self._output.fault)
        self._actuators.keep(now_ns)
        if chunk:
            self._callers.pass_on(chunk, now_ns)
        self._tell(now_ns)
        self._stay_alive(now_ns)

    def _work_output(self, now_ns: int) -> bytes:
        """Do what is due at the output, and return what came in; open a serial line only while somebody is connected.

        The name of a line that was lost may be another device's by now, a pseudo-terminal's above all, and a guard
        that outlived its runtime would take that one from whoever it belongs to.
        """
        if now_ns - self.worked_ns < READ_AGAIN_NS and not self._output.is_pending():
            return b""
        self.worked_ns = now_ns
        is_lost = self._settings.is_serial and self._output.descriptor() is None
        return b"" if is_lost and self._callers.is_idle() else self._output.work(now_ns)

    def _take_request(self, address: str, request: Request, now_ns: int) -> None:
        if request.session == self.permission.permit_holder:
            self._holder_heard_ns = now_ns
        if request.ask in (Ask.HELLO, Ask.LISTEN):
            self._told = ()
            return
        self._note = self._carry_out(address, request, now_ns)
        # At once, not at the turn's end: who follows must see each phase, also where several acts come in one turn.
        self._tell(now_ns)

    def _carry_out(self, address: str, request: Request, now_ns: int) -> str:
        """Do what is asked, and return why not, or ''."""
        permission = self.permission
        match request.ask:
            case Ask.STOP:
                permission.stop(request.cause or "stopped by an operator")
            case Ask.HOLD:
                return permission.act(Act.HOLD, request.cause or HELD)
            case Ask.PRESS_RESET:
                return permission.act(Act.PRESS, control=address)
            case Ask.RELEASE_RESET:
                return self._why_not_ready() or permission.act(Act.RELEASE, control=address)
            case Ask.RESUME:
                return self._why_not_ready() or permission.resume()
            case Ask.ENABLE:
                return self._enable(request.session, now_ns)
            case Ask.GOODBYE if request.session == permission.permit_holder:
                permission.lapse(ENDED)
        return ""

    def _why_not_ready(self) -> str:
        if self._input_open:
            return "the stop input is open; release the stop button, or look for a broken wire"
        if why := self._output.fault or self._supervisor.fault or _fault_of(self.watchdog):
            return why
        ways = self.ways()
        if len(ways) < ENOUGH_WAYS:
            return f"motion needs two independent ways to zero; this robot has only: {', '.join(ways)}"
        return ""

    def _enable(self, session: int, now_ns: int) -> str:
        if why := self._why_not_ready():
            return why
        self._holder_heard_ns = now_ns
        return self.permission.enable(session)

    def ways(self) -> list[str]:
        """Return the independent ways to zero that work at present."""
        if not self._settings.drive:
            return ["the runtime, as this guard permits", "the deadline of the drive's own device"]
        from_device = self._settings.is_serial and not self._output.fault
        watchdog = self.watchdog
        return [
            "the guard's deadline",
            *(["the co-processor's deadline"] if from_device else []),
            *([] if self._supervisor.fault else ["the supervisor"]),
            *([f"the hardware watchdog ({watchdog.timeout_s} s)"] if watchdog and not watchdog.fault else []),
        ]

    def _look_at_stops(self, now_ns: int) -> None:
        self._input_open = self.stop_is_open(now_ns)
        if self._input_open:
            self.permission.stop("the stop input is open")
        if self._supervisor.fault:
            self.permission.stop(self._supervisor.fault)
        if (alarm := self._output.alarm()) and self.permission.phase is not Phase.NOT_ENABLED:
            self.permission.stop(alarm)

    def _take_newest(self, incoming: list[Incoming], now_ns: int) -> None:
        """Judge the newest command of each sender; older ones of the same turn are not worth an answer."""
        newest = {address: value for address, value in incoming if isinstance(value, Command)}
        for address, command in newest.items():
            if command.session == self.permission.permit_holder:
                self._holder_heard_ns = now_ns
            ruling = self._actuators.obey(command, now_ns)
            applied = self._actuators.applied
            self._callers.send(address, Answer(command.session, command.sequence, ruling, *applied, now_ns))

    def _tell(self, now_ns: int) -> None:
        permission, fault = self.permission, self._output.fault
        note = fault or self._note
        facts = (
            *(permission.phase, self._input_open, self._actuators.ran_out, not fault),
            *(permission.permit_holder, self.restarts),
        )
        news = (*facts, permission.cause, note)
        if news != self._told or now_ns - self._told_ns >= TELL_EVERY_NS:
            self._told, self._told_ns = news, now_ns
            self._callers.forget(now_ns)
            texts = (permission.cause, note, ", ".join(self.ways()), _fault_of(self.watchdog))
            self._callers.send_all(State(now_ns, *facts, *self._actuators.applied, *texts))

    def _stay_alive(self, now_ns: int) -> None:
        if not self._callers.is_idle():
            self.idle_since_ns = now_ns
        self._supervisor.work(now_ns, self._is_spare(now_ns), self._output.descriptor())
        if self.watchdog is not None and not self._output.is_stuck:
            self.watchdog.feed(now_ns)

    def _is_spare(self, now_ns: int) -> bool:
        """Tell whether nobody has been connected for a while; a latched stop is kept longer for who comes back."""
        linger_ns = self._settings.linger_ns
        patience_ns = linger_ns if self.permission.phase in LATCHED else min(linger_ns, SPARE_NS)
        return now_ns - self.idle_since_ns >= patience_ns

    def is_left_alone(self, now_ns: int) -> bool:
        """Tell whether the supervisor is gone and nobody has been connected for a while."""
        return self._supervisor.is_gone() and self._is_spare(now_ns)

    def close(self) -> None:
        """Bring the wheels to zero and let go of everything; the watchdog is told that the end is meant."""
        self._actuators.end(time.monotonic_ns())
        self._output.close()
        if self.watchdog is not None and not self._output.is_stuck:
            self.watchdog.close()
        self._callers.close()
        self._supervisor.close()


def _fault_of(watchdog: HardwareWatchdog | None) -> str:
    """Return why the watchdog that the robot file names does not watch, or ''."""
    return f"hardware watchdog: {watchdog.fault}" if watchdog is not None and watchdog.fault else ""


def _stop_input(options: Mapping[str, Any]) -> Callable[[int], bool]:
    """Return what tells at a time that the stop input is open; one that cannot be read counts as open."""
    from rover.devices.stop_input.stop_pin import StopInput

    try:
        contact = StopInput(options)
    except (OSError, ValueError) as error:
        print(f"stop input: {error}", file=sys.stderr)
        return lambda now_ns: True

    def is_open(now_ns: int) -> bool:
        try:
            return not contact.poll(now_ns)[-1].value.closed
        except Exception:
            return True

    return is_open


def _output(settings: GuardSettings, session: int) -> Output:
    servo = settings.servo_on_pins
    if not settings.is_serial:
        return PinOutput(settings.drive or None, servo)
    line = SerialOutput(settings.drive, session)
    return line if servo is None else LineAndPins(line, PinOutput(None, servo))


def _assemble(folder: Path, descriptor: int, session: int, restarts: int) -> Guard:
    settings = load_settings(folder)
    now_ns = time.monotonic_ns()
    output, callers = _output(settings, session), Callers(folder / SOCKET_NAME)
    guard = Guard(settings, output, callers, SupervisorLink(descriptor))
    guard.restarts, guard.idle_since_ns = restarts, now_ns
    if settings.watchdog is not None:
        guard.watchdog = HardwareWatchdog(settings.watchdog)
        if fault := _fault_of(guard.watchdog):
            print(fault, file=sys.stderr)
    if settings.stop_input is not None:
        guard.stop_is_open = _stop_input(settings.stop_input)
    if restarts:
        guard.permission.stop("the guard had to be started again")
    return guard


def run(guard: Guard) -> None:
    """Turn until SIGTERM, or until nobody needs the guard any more; whatever ends it, the wheels come to zero first."""
    ended: list[int] = []
    signal.signal(signal.SIGTERM, lambda number, _frame: ended.append(number))
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    waiting = Waiting()
    try:
        while not ended:
            ready = waiting.wait(guard.descriptors(), guard.patience_ns(time.monotonic_ns()))
            now_ns = time.monotonic_ns()
            guard.turn(now_ns, ready)
            if guard.is_left_alone(now_ns):
                return
    finally:
        guard.close()


def main(arguments: list[str]) -> None:
    """Run the guard; ``arguments``: folder, descriptor of the supervisor's socket, session, restarts."""
    folder, descriptor, session, restarts = arguments
    run(_assemble(Path(folder), int(descriptor), int(session), int(restarts)))
