"""The real devices of a run: motor guard first, then serial links, then drivers; closed again wheels first."""

import fcntl
import os
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rover.devices.protocols import Host
from rover.devices.registry import SIMULATED
from rover.files.errand import Kind
from rover.files.robot import Device, Robot, SerialLink
from rover.guard.client import GuardClient
from rover.guard.drivers import LinkJaws, PinJaws, StopInput, Wheels
from rover.guard.launch import GuardProcess, prepare_folder, settings_of, start_guard
from rover.guard.outputs import FIRST_ANSWER_DUE
from rover.guard.port import GuardPort
from rover.guard.protocol import Phase
from rover.guard.settings import GuardSettings
from rover.guard.ways import CO_PROCESSOR
from rover.link import Link, Mailbox, open_link
from rover.link.sentences import UPWARDS, MagneticHeading, RateOfTurn, TrueHeading
from rover.runtime.drivers import Drivers

SENTENCE_WITHIN_S = 1.0
ANSWER_WITHIN_S = 3.0
"""A board that restarts as its port is opened needs some seconds for it."""
_LOOK_EVERY_S = 0.01


class RunError(Exception):
    """The run cannot begin; the message is one line that says why and what to do."""


@dataclass(frozen=True)
class RealDevices:
    """What a run works with."""

    client: GuardClient
    drivers: Drivers


@contextmanager
def real_devices(robot: Robot, kinds: Mapping[str, Kind], seed: int, folder: Path) -> Iterator[RealDevices]:
    """Start the guard and open everything, motion not permitted; at the end the wheels are at zero before all else.

    Args:
        robot: the robot file.
        kinds: the errand's kinds of object, for the camera.
        seed: for drivers that draw random numbers.
        folder: the guard's.

    Raises:
        RunError: something cannot be had.
        LoadError: a driver cannot be imported.
    """
    settings = _guard_settings(robot)
    with ExitStack() as closing:
        try:
            _be_alone(folder, closing)
            client = _start_guard(settings, folder, closing)
            links = _open_links(robot, settings, folder, closing)
            _wait_for_sentences(robot, links, client)
            drivers = GuardedDrivers(Host(robot, seed, links, kinds=kinds), settings, client)
        except OSError as error:
            raise RunError(str(error)) from error
        closing.callback(drivers.close)
        yield RealDevices(client, drivers)


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


def _guard_settings(robot: Robot) -> GuardSettings:
    simulated = [family for family, device in robot.devices.fitted().items() if device.driver == SIMULATED]
    if simulated:
        raise RunError(
            f"{', '.join(simulated)}: driver 'simulated' works in a rehearsal only; name a real one in the robot file"
        )
    try:
        return settings_of(robot)
    except ValueError as error:
        raise RunError(str(error)) from error


def _be_alone(folder: Path, closing: ExitStack) -> None:
    """Keep other runs from this robot until the end."""
    prepare_folder(folder)
    descriptor = os.open(folder / "run.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    closing.callback(os.close, descriptor)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise RunError("another run commands this robot; end that one first, or give each robot its --guard") from None


def _start_guard(settings: GuardSettings, folder: Path, closing: ExitStack) -> GuardClient:
    guard = start_guard(settings, folder)
    try:
        client = GuardClient(folder)
    except BaseException:
        guard.close()
        raise
    closing.callback(_end_guard, guard, client)
    return client


def _end_guard(guard: GuardProcess, client: GuardClient) -> None:
    """Let go of the guard and end it; a stop that somebody demanded outlives the run, and the next one finds it."""
    client.poll()
    state = client.state
    is_demanded = state is not None and state.phase is Phase.STOPPED and state.commander == client.session
    client.close()
    if not is_demanded:
        guard.close()


def _open_links(robot: Robot, settings: GuardSettings, folder: Path, closing: ExitStack) -> dict[str, Link]:
    """Open the links that devices are on; that of the drive comes by the guard, which owns its port."""
    guarded = robot.devices.drive.link if settings.is_serial else None
    links: dict[str, Link] = {}
    for name in sorted({device.link for device in robot.devices.fitted().values() if device.link is not None}):
        line = robot.links[name]
        by_guard = name == guarded
        links[name] = Link(GuardPort(folder), time.monotonic_ns, line.baud) if by_guard else open_link(line)
        closing.callback(links[name].close)
    return links


def _wait_for_sentences(robot: Robot, links: Mapping[str, Link], client: GuardClient) -> None:
    """Wait until every line is understood and the actuators answer.

    Raises:
        RunError: they do not, with the cause that can be told from what came in.
    """
    kinds = [layout.value for layout in UPWARDS]
    boxes = {name: link.mailbox(*kinds, TrueHeading, MagneticHeading, RateOfTurn) for name, link in links.items()}
    began_ns = time.monotonic_ns()
    while boxes or not _output_is_open(client):
        boxes = {name: box for name, box in boxes.items() if not box.take()}
        seconds = (time.monotonic_ns() - began_ns) * 1e-9
        for name in boxes if seconds > SENTENCE_WITHIN_S else ():
            if links[name].counts.bytes_in:
                raise RunError(_why_not_understood(name, robot.links[name], links[name]))
        if seconds > (SENTENCE_WITHIN_S if _port_is_missing(client) else ANSWER_WITHIN_S):
            raise RunError(_why_no_answer(robot, links, boxes, client))
        time.sleep(_LOOK_EVERY_S)


def _output_is_open(client: GuardClient) -> bool:
    client.hello()
    client.poll()
    return client.state is not None and client.state.output_open


def _port_is_missing(client: GuardClient) -> bool:
    """Tell whether the guard cannot even open what the actuators are on: waiting longer is of no use."""
    return not _output_is_open(client) and client.state is not None and FIRST_ANSWER_DUE not in client.state.note


def _why_no_answer(robot: Robot, links: Mapping[str, Link], silent: Mapping[str, Mailbox], client: GuardClient) -> str:
    if not _output_is_open(client):
        return client.state.note if client.state is not None else "the motor guard does not answer; look at its log"
    name = next(iter(silent))
    return _why_not_understood(name, robot.links[name], links[name])


def _why_not_understood(name: str, line: SerialLink, link: Link) -> str:
    where = f"link '{name}' on {line.port}"
    if not link.counts.bytes_in:
        return f"{where}: nothing comes in; check the device's power and wiring, and 'port:' in the robot file"
    return (
        f"{where}: no sentence was understood in what comes in; 'baud: {line.baud}' is probably not the device's, "
        "or 'port:' is another device's"
    )


class GuardedDrivers(Drivers):
    """Drivers of a robot whose wheels, and as far as it can hold them jaws and stop input, are the guard's.

    Raises:
        RunError: a device cannot be had.
    """

    def __init__(self, host: Host, settings: GuardSettings, client: GuardClient) -> None:
        self._settings, self._client, self._wheels = settings, client, Wheels(client)
        super().__init__(host, ())

    def _make(self, family: str, driver: str, device: Device, host: Host) -> None:
        try:
            held = self._held_by_guard(family, device, host)
            if held is None:
                super()._make(family, driver, device, host)
            else:
                self._made[family] = held
        except (OSError, ValueError) as error:
            self.close()
            raise RunError(f"{family}: {error}") from error

    def _held_by_guard(self, family: str, device: Device, host: Host) -> Any:
        if family == "drive":
            return self._wheels
        if family == "stop_input" and self._settings.stop_input is not None:
            return StopInput(self._client)
        if family == "gripper" and self._settings.servo is not None:
            if device.driver == CO_PROCESSOR:
                return LinkJaws(device.options, host, self._wheels)
            return PinJaws(device.options, self._wheels)
        return None
