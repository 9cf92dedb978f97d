"""The guard's process: one poll loop that alone holds the actuators, the stop input and the hardware watchdog.

Whatever happens to the runtime, the wheels are at zero when no valid command came within the deadline. What happens
to this process is the business of the second way to zero: the co-processor's own deadline, or the supervisor.

It is no substitute for a hard-wired emergency stop, and no certified safety function. In the terms of IEC 60204-1
a stop here is an uncontrolled one (category 0) as far as software can: duty zero at once, though the supply of the
motors stays on.
"""

import contextlib
import select
import signal
import socket
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from rover.guard import settings as files
from rover.guard.callers import Callers, Incoming
from rover.guard.outputs import ZERO, Output, output_of
from rover.guard.permission import CommandGate, Permission
from rover.guard.priority import take_priority
from rover.guard.protocol import Answer, Ask, Command, Phase, Request, Ruling, State
from rover.guard.settings import NEEDED, SPARE, GuardSettings
from rover.guard.watchdog import HardwareWatchdog

TICK_NS = 20_000_000
PENDING_NS = 4_000_000
BEAT_EVERY_NS = 20_000_000
SUPERVISOR_WITHIN_NS = 1_000_000_000
REPEAT_ZERO_NS = 50_000_000
TELL_EVERY_NS = 100_000_000
HOLD_EVERY_NS = 1_000_000_000
ENOUGH_WAYS = 2
_FIRST_STEPS = 10_000_000_000


class SupervisorLink:
    """The guard's end of the pair of sockets on which it beats and the supervisor echoes.

    Attributes:
        fault: why the supervisor cannot be counted on; empty when it can.
    """

    def __init__(self, descriptor: int, now_ns: int) -> None:
        self.fault = ""
        self._socket = socket.socket(fileno=descriptor)
        self._socket.setblocking(False)
        self._beat_ns = 0
        self._heard_ns = now_ns + _FIRST_STEPS

    def descriptor(self) -> int | None:
        """Return what to poll, None once the supervisor is gone."""
        return None if self.is_gone() else self._socket.fileno()

    def is_gone(self) -> bool:
        """Tell whether the supervisor has ended."""
        return self._socket.fileno() < 0

    def work(self, now_ns: int, is_spare: bool) -> None:
        """Beat when that is due, telling whether the guard is needed, and listen to the echo."""
        if self.is_gone():
            return
        try:
            self._listen(now_ns)
            if now_ns - self._beat_ns >= BEAT_EVERY_NS:
                self._beat_ns = now_ns
                self._socket.send(SPARE if is_spare else NEEDED)
        except BlockingIOError:
            pass
        except OSError:
            self.close()
        if not self.is_gone():
            self.fault = "the supervisor does not answer" if now_ns - self._heard_ns > SUPERVISOR_WITHIN_NS else ""

    def _listen(self, now_ns: int) -> None:
        with contextlib.suppress(BlockingIOError):
            if not self._socket.recv(256):
                raise ConnectionResetError
            self._heard_ns = now_ns

    def close(self) -> None:
        """Let go; the supervisor counts as gone."""
        self._socket.close()
        self.fault = "the supervisor has ended"


class Guard:
    """The loop's body: what came in, what that means, what goes out. One thread."""

    def __init__(self, settings: GuardSettings, output: Output, clients: Callers, supervisor: SupervisorLink) -> None:
        self.permission = Permission()
        self.restarts = 0
        self.watchdog: HardwareWatchdog | None = None
        self.stop_is_open: Callable[[int], bool] = lambda now_ns: False
        self.idle_since_ns = 0
        self._settings, self._output, self._clients, self._supervisor = settings, output, clients, supervisor
        self._gate = CommandGate(settings.deadline_ns)
        self._input_open = False
        self._ran_out = True
        self._applied = ZERO
        self._zeroed_ns = 0
        self._commander_heard_ns = 0
        self._pulse_us: int | None = None
        self._pushes_from_ns = 0
        self._held_ns = 0
        self._jaws_stopped = False
        self._note = ""
        self._told: tuple[Any, ...] = ()
        self._told_ns = 0

    def descriptors(self) -> list[int]:
        """Return what to poll for reading."""
        found = (self._clients.descriptor(), self._supervisor.descriptor(), self._output.descriptor())
        return [descriptor for descriptor in found if descriptor is not None]

    def patience_ns(self, now_ns: int) -> int:
        """Return how long the loop may wait for something to come in."""
        if self._output.is_pending():
            return PENDING_NS
        return TICK_NS if self._ran_out else max(0, min(TICK_NS, self._gate.until_ns - now_ns))

    def turn(self, now_ns: int) -> None:
        """Take one turn of the loop: a stop is looked at before any command of the same turn."""
        chunk = self._work_output(now_ns)
        incoming = self._clients.receive(now_ns)
        for address, value in incoming:
            if isinstance(value, Request):
                self._take_request(address, value, now_ns)
        self._look_at_stops(now_ns)
        self._take_newest([each for each in incoming if isinstance(each.value, Command)], now_ns)
        self._keep_zero(now_ns)
        self._keep_jaws(now_ns)
        self._look_at_output()
        if chunk:
            self._clients.pass_on(chunk, now_ns)
        self._tell(now_ns)
        self._stay_alive(now_ns)

    def _work_output(self, now_ns: int) -> bytes:
        """Do what is due at the output, and return what came in; open a serial line only while somebody is connected.

        The name of a line that was lost may be another device's by now, a pseudo-terminal's above all, and a guard
        that outlived its runtime would take that one from whoever it belongs to.
        """
        is_lost = self._settings.is_serial and self._output.descriptor() is None
        return b"" if is_lost and self._clients.is_idle() else self._output.work(now_ns)

    def _take_request(self, address: str, request: Request, now_ns: int) -> None:
        if request.session == self.permission.permit_holder:
            self._commander_heard_ns = now_ns
        if request.ask in (Ask.HELLO, Ask.LISTEN):
            self._told = ()
            return
        self._note = self._carry_out(address, request, now_ns)
        self._told = ()

    def _carry_out(self, address: str, request: Request, now_ns: int) -> str:
        """Do what is asked, and return why not, or ''."""
        permission = self.permission
        match request.ask:
            case Ask.STOP:
                permission.stop(request.cause or "stopped by an operator")
            case Ask.PRESS_RESET:
                permission.press_reset(address)
            case Ask.RELEASE_RESET:
                return self._why_not_ready() or permission.release_reset(address)
            case Ask.RESUME:
                return self._why_not_ready() or permission.resume()
            case Ask.ENABLE:
                return self._enable(request.session, now_ns)
            case Ask.GOODBYE:
                self._part(request.session)
        return ""

    def _why_not_ready(self) -> str:
        if self._input_open:
            return "the stop input is open; release the stop button, or look for a broken wire"
        return self._output.fault or self._supervisor.fault

    def _enable(self, session: int, now_ns: int) -> str:
        ways = self.ways()
        if why := self._why_not_ready():
            return why
        if len(ways) < ENOUGH_WAYS:
            return f"motion needs two independent ways to zero; this robot has only: {', '.join(ways)}"
        self._commander_heard_ns = now_ns
        self.permission.enable(session)
        return ""

    def ways(self) -> list[str]:
        """Return the independent ways to zero that work at present."""
        from_device = self._settings.is_serial and not self._output.fault
        from_supervisor = self._settings.channels and not self._supervisor.fault
        return [
            "the guard's deadline",
            *(["the co-processor's deadline"] if from_device else []),
            *(["the supervisor"] if from_supervisor else []),
            *(["the hardware watchdog"] if self.watchdog else []),
        ]

    def _part(self, session: int) -> None:
        if session == self.permission.permit_holder:
            self.permission.lapse("the runtime has ended: motion has to be enabled again")

    def _look_at_stops(self, now_ns: int) -> None:
        self._input_open = self.stop_is_open(now_ns)
        if self._input_open:
            self.permission.stop("the stop input is open")
        if self._supervisor.fault:
            self.permission.stop(self._supervisor.fault)
        if self.permission.permit_holder and now_ns - self._commander_heard_ns > self._settings.forget_ns:
            # A runtime that comes back to life after a long while must not move a robot that people take to be dead.
            self.permission.lapse("the runtime fell silent: motion has to be enabled again")

    def _look_at_output(self) -> None:
        if self._output.fault and self.permission.phase is not Phase.STOPPED:
            self.permission.stop(self._output.fault)

    def _take_newest(self, incoming: list[Incoming], now_ns: int) -> None:
        """Judge the newest command of each sender; older ones of the same turn are not worth an answer."""
        newest = {each.address: each for each in incoming}
        for address, value in newest.values():
            if isinstance(value, Command):
                verdict = self._obey(value, now_ns)
                self._clients.send(address, Answer(value.session, value.sequence, verdict, *self._applied, now_ns))

    def _obey(self, command: Command, now_ns: int) -> Ruling:
        if command.session == self.permission.permit_holder:
            self._commander_heard_ns = now_ns
        if self._output.fault:
            return Ruling.NO_OUTPUT
        verdict = self._gate.judge(command, self.permission, now_ns)
        if verdict is not Ruling.ACCEPTED:
            return verdict
        self._ran_out = False
        self._applied = self._output.drive(command.left, command.right, self._gate.until_ns)
        if command.pulse_us is not None:
            self._set_jaws(command.pulse_us, command.expires_ns, now_ns)
        return verdict

    def _keep_zero(self, now_ns: int) -> None:
        """Bring the wheels to zero when nothing permits them to turn, and say so again and again."""
        if self.permission.phase is Phase.RUNNING and now_ns < self._gate.until_ns:
            return
        if not self._ran_out or now_ns - self._zeroed_ns >= REPEAT_ZERO_NS:
            self._gate.until_ns = 0
            self._ran_out, self._zeroed_ns, self._applied = True, now_ns, ZERO
            self._output.zero()

    def _keep_jaws(self, now_ns: int) -> None:
        """After a stop, do with the jaws what ``on_stop`` says; let them push no longer than allowed, unless commanded.

        The time counts from when they began, so that a runtime that dies in the middle of a push does not prolong it.
        """
        is_stopped = self.permission.phase is not Phase.RUNNING
        has_just_stopped, self._jaws_stopped = is_stopped and not self._jaws_stopped, is_stopped
        pulse_us, servo = self._pulse_us, self._settings.servo
        if pulse_us is None or servo is None:
            return
        if has_just_stopped:
            self._hold_jaws(_pulse_after_stop(servo, pulse_us), now_ns)
        elif pulse_us and self._ran_out and now_ns - self._pushes_from_ns >= self._settings.hold_ns:
            self._hold_jaws(0, now_ns)
        elif pulse_us and is_stopped and now_ns - self._held_ns >= HOLD_EVERY_NS:
            self._hold_jaws(pulse_us, now_ns)

    def _hold_jaws(self, pulse_us: int, now_ns: int) -> None:
        self._held_ns = now_ns
        self._set_jaws(pulse_us, now_ns + self._settings.deadline_ns, now_ns)

    def _set_jaws(self, pulse_us: int, until_ns: int, now_ns: int) -> None:
        if pulse_us != self._pulse_us:
            self._pulse_us, self._pushes_from_ns = pulse_us, now_ns
        self._output.servo(pulse_us, until_ns)

    def _tell(self, now_ns: int) -> None:
        permission, note = self.permission, self._output.fault or self._note
        facts = (
            *(permission.phase, self._input_open, self._ran_out, not self._output.fault),
            *(permission.permit_holder, self.restarts),
        )
        news = (*facts, permission.cause, note)
        if news != self._told or now_ns - self._told_ns >= TELL_EVERY_NS:
            self._told, self._told_ns = news, now_ns
            self._clients.send_all(State(now_ns, *facts, *self._applied, permission.cause, note))

    def _stay_alive(self, now_ns: int) -> None:
        if not self._clients.is_idle():
            self.idle_since_ns = now_ns
        self._supervisor.work(now_ns, self._is_spare(now_ns))
        if self.watchdog is not None and not self._output.is_stuck:
            self.watchdog.feed(now_ns)

    def _is_spare(self, now_ns: int) -> bool:
        """Tell whether nobody has been connected for a while; a latched stop is kept longer for who comes back."""
        linger_ns = self._settings.linger_ns
        patience_ns = linger_ns if self.permission.demanded else min(linger_ns, files.SPARE_NS)
        return now_ns - self.idle_since_ns >= patience_ns

    def is_left_alone(self, now_ns: int) -> bool:
        """Tell whether the supervisor is gone and nobody has been connected for a while."""
        return self._supervisor.is_gone() and self._is_spare(now_ns)

    def close(self) -> None:
        """Bring the wheels to zero and let go of everything; the watchdog is told that the end is meant."""
        self._output.close()
        if self.watchdog is not None and not self._output.is_stuck:
            self.watchdog.close()
        self._clients.close()
        self._supervisor.close()


def _pulse_after_stop(servo: Mapping[str, Any], last_us: int) -> int:
    match servo.get("on_stop", "hold"):
        case "release":
            return round(float(servo["open"]) * 1e6)
        case "limp":
            return 0
    return last_us


def _watchdog(path: str | None) -> HardwareWatchdog | None:
    if path is None:
        return None
    try:
        return HardwareWatchdog(path)
    except OSError as error:
        print(f"hardware watchdog: {error}", file=sys.stderr)
        return None


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


def _assemble(folder: Path, descriptor: int, session: int, restarts: int) -> Guard:
    settings = files.load(folder)
    now_ns = time.monotonic_ns()
    clients = Callers(folder / files.SOCKET)
    guard = Guard(settings, output_of(settings, session), clients, SupervisorLink(descriptor, now_ns))
    guard.restarts, guard.idle_since_ns = restarts, now_ns
    guard.watchdog = _watchdog(settings.watchdog)
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
    try:
        while not ended:
            now_ns = time.monotonic_ns()
            _wait(guard.descriptors(), guard.patience_ns(now_ns))
            now_ns = time.monotonic_ns()
            guard.turn(now_ns)
            if guard.is_left_alone(now_ns):
                return
    finally:
        guard.close()


def _wait(descriptors: list[int], patience_ns: int) -> None:
    poll = select.poll()
    for descriptor in descriptors:
        poll.register(descriptor, select.POLLIN)
    poll.poll(-(-patience_ns // 1_000_000))


def main(arguments: list[str]) -> None:
    """Run the guard; ``arguments``: folder, descriptor of the supervisor's socket, session, restarts."""
    folder, descriptor, session, restarts = arguments
    take_priority()
    run(_assemble(Path(folder), int(descriptor), int(session), int(restarts)))
