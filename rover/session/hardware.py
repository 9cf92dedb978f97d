"""The real devices: motor guard first, then serial links, then drivers; closed again wheels first."""

import fcntl
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from rover.devices.keys import SIMULATED
from rover.devices.meanwhile import in_a_thread
from rover.devices.protocols import DriverContext
from rover.devices.stop_input.stop_pin import StopInput as StopPin
from rover.errors import UserError
from rover.files.errand import Kind
from rover.files.robot import Robot, SerialLink
from rover.guard.client import GuardClient
from rover.guard.drivers import StopInput, drivers_by_guard
from rover.guard.launch import GuardProcess, is_at_work, prepare_folder, settings_of, start_guard
from rover.guard.port import GuardPort
from rover.guard.protocol import State
from rover.guard.serial_output import FIRST_ANSWER_DUE
from rover.guard.settings import GuardSettings
from rover.link import Link, open_link
from rover.link.sentences import UPWARDS, MagneticHeading, RateOfTurn, TrueHeading
from rover.session.drivers import Drivers
from rover.session.guard_watch import SILENT
from rover.session.outputs_apart import OutputsApart
from rover.stopping import LATCHED
from rover.vision.detector import finder

SENTENCE_WITHIN_S = 1.0
ANSWER_WITHIN_S = 4.0
"""A board that restarts as its port is opened needs some seconds for it."""
LAST_WORD_WITHIN_NS = 500_000_000
_LOOK_EVERY_S = 0.01


class RunError(UserError, OSError):
    """The robot cannot be had; the message is one line that says why and what to do."""


@dataclass(frozen=True)
class RobotDevices:
    """What a robot is commanded through; ``links`` are those that devices are on, by name."""

    robot: Robot
    client: GuardClient
    links: Mapping[str, Link]
    drivers: Drivers


@contextmanager
def open_devices(robot: Robot, folder: Path, kinds: Mapping[str, Kind], seed: int) -> Iterator[RobotDevices]:
    """Start the guard and open everything, motion not permitted; at the end the wheels are at zero before all else.

    Args:
        robot: the robot file.
        folder: the guard's.
        kinds: the errand's kinds of object, for the camera.
        seed: for drivers that draw random numbers.

    Raises:
        RunError: something cannot be had.
        LoadError: a driver cannot be had.
    """
    with ExitStack() as closing:
        try:
            context = DriverContext(robot, seed, {}, finder_of=partial(finder, robot, kinds), meanwhile=in_a_thread)
            devices = _opened(context, folder, closing)
        except (OSError, ValueError) as error:
            raise RunError(str(error)) from error
        yield devices


def _opened(context: DriverContext, folder: Path, closing: ExitStack) -> RobotDevices:
    settings = settings_of(context.robot)
    _be_alone(folder, closing)
    _try_stop_pin(settings, folder)
    client = GuardClient(folder)
    closing.callback(client.close)
    closing.callback(_end_guard, start_guard(settings, folder), client)
    links = _open_links(context.robot, settings, folder, closing)
    _wait_for_answers(context.robot, links, client)
    context = replace(context, links=links)
    held = drivers_by_guard(context, settings, client)
    if settings.stop_input is not None:
        held["stop_input"] = StopInput(client)
    outputs = OutputsApart(context.robot, context.seed) if context.robot.outputs else None
    if outputs is not None:
        closing.callback(outputs.close)
    drivers = Drivers(context, (), held, outputs)
    closing.callback(drivers.close)
    return RobotDevices(context.robot, client, links, drivers)


def simulated_in(robot: Robot) -> list[str]:
    """Return the families that have no driver on the robot."""
    return [family for family, device in robot.devices.fitted().items() if device.driver == SIMULATED]


def with_ports(robot: Robot, ports: Mapping[str, str]) -> Robot:
    """Return the robot with other ports for some of its links.

    Raises:
        RunError: it has no such link.
    """
    for name in ports:
        if name not in robot.links:
            known = ", ".join(robot.links) or "none"
            raise RunError(f"--port {name}: the robot file has no such link (its links: {known})")
    links = {
        name: link.model_copy(update={"port": os.path.abspath(ports[name])} if name in ports else {})
        for name, link in robot.links.items()
    }
    return robot.model_copy(update={"links": links})


def _be_alone(folder: Path, closing: ExitStack) -> None:
    """Keep other programs from this robot until the end."""
    prepare_folder(folder)
    descriptor = os.open(folder / "run.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    closing.callback(os.close, descriptor)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise RunError("another program commands this robot; end it first, or give each robot its --guard") from None


def _try_stop_pin(settings: GuardSettings, folder: Path) -> None:
    """See that the stop input can be had: for the guard, one that cannot is open, and why is told in its log only."""
    if settings.stop_input is not None and not is_at_work(folder):
        StopPin(settings.stop_input).close()


def _end_guard(guard: GuardProcess, client: GuardClient) -> None:
    """End the guard, unless a stop is latched: that outlives this program, and the next one finds it."""
    state = _last_word(client)
    if state is None or state.phase not in LATCHED:
        guard.close()


def _last_word(client: GuardClient) -> State | None:
    """Return how the guard stands after all that was asked of it so far."""
    asked_ns = time.monotonic_ns()
    client.hello()
    while time.monotonic_ns() - asked_ns < LAST_WORD_WITHIN_NS:
        client.poll()
        if client.state is not None and client.state.now_ns > asked_ns:
            break
        time.sleep(_LOOK_EVERY_S)
    return client.state


def _open_links(robot: Robot, settings: GuardSettings, folder: Path, closing: ExitStack) -> dict[str, Link]:
    """Open the links that devices are on; that of the drive comes by the guard, which owns its port."""
    guarded = robot.devices.drive.on_link if settings.is_serial else None
    links: dict[str, Link] = {}
    for name in sorted({link for device in robot.devices.fitted().values() if (link := device.on_link) is not None}):
        line = robot.links[name]
        by_guard = name == guarded
        links[name] = Link(GuardPort(folder), line.baud) if by_guard else open_link(line)
        closing.callback(links[name].close)
    return links


def _wait_for_answers(robot: Robot, links: Mapping[str, Link], client: GuardClient) -> None:
    """Wait until every line is understood and the actuators answer.

    Raises:
        RunError: they do not, with the cause that can be told from what came in.
    """
    kinds = [layout.value for layout in UPWARDS]
    boxes = {name: link.mailbox(*kinds, TrueHeading, MagneticHeading, RateOfTurn) for name, link in links.items()}
    began_ns = time.monotonic_ns()
    while (why := _why_no_answer(client)) or boxes:
        boxes = {name: box for name, box in boxes.items() if not box.take()}
        seconds = (time.monotonic_ns() - began_ns) * 1e-9
        for name in boxes if seconds > SENTENCE_WITHIN_S else ():
            if links[name].counts.bytes_in:
                raise RunError(_why_not_understood(name, robot.links[name]))
        # Where the guard cannot even open what the actuators are on, waiting longer is of no use.
        is_hopeless = why not in ("", SILENT) and FIRST_ANSWER_DUE not in why
        if seconds > (SENTENCE_WITHIN_S if is_hopeless else ANSWER_WITHIN_S):
            raise RunError(why or _why_silent(next(iter(boxes)), robot.links))
        time.sleep(_LOOK_EVERY_S)


def _why_no_answer(client: GuardClient) -> str:
    client.hello()
    client.poll()
    if client.state is None:
        return SILENT
    return "" if client.state.output_open else client.state.note or FIRST_ANSWER_DUE


def _why_silent(name: str, lines: Mapping[str, SerialLink]) -> str:
    where = f"link '{name}' on {lines[name].port}"
    return f"{where}: nothing comes in; check the device's power and wiring, and 'port:' in the robot file"


def _why_not_understood(name: str, line: SerialLink) -> str:
    return (
        f"link '{name}' on {line.port}: no sentence was understood in what comes in; 'baud: {line.baud}' is probably "
        "not the device's, or 'port:' is another device's"
    )
