"""Drivers of outputs of one's own, at work in this process: in a rehearsal, or in what `outputs_apart` starts."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any, Protocol

from rover.devices.meanwhile import FAILURES
from rover.devices.outputs.keys import OutputKeys
from rover.devices.protocols import DriverContext
from rover.devices.readings import OutputCommand
from rover.devices.registry import load_class
from rover.errors import in_words
from rover.session.driver import Changes, DriverAtWork, made, renewed

LONG_NS = 10_000_000_000
"""What is at rest may stay so without being told again."""
Commands = Sequence[tuple[str, OutputCommand]]


class Outputs(Protocol):
    """All outputs of a robot, at work."""

    def tell(self, commands: Commands, now_ns: int) -> None:
        """Pass a step's commands on. Never waits, never raises."""

    def changes(self) -> Changes:
        """Return which were lost or are back since the last call, and the stops that are due for it."""

    def halt(self, seconds: float) -> None:
        """Have those halted for a time that are at work in other processes."""

    def close(self) -> None:
        """Bring all to rest and let go of them."""


class OutputsHere:
    """Outputs whose drivers are at work in this process.

    Raises:
        LoadError: a driver cannot be had.
    """

    def __init__(self, context: DriverContext) -> None:
        self._keys = context.robot.outputs
        self._changes = Changes()
        # What moves nothing stops nothing when it fails.
        harmless = Changes(faults=self._changes.faults)
        self._at_work: dict[str, DriverAtWork] = {}
        self._ends_ns = dict.fromkeys(self._keys, 0)
        self._latest_ns = 0
        try:
            for name, keys in self._keys.items():
                make = partial(_made, keys, replace(context, name=name))
                renew = partial(renewed, context.meanwhile, make)
                changes = self._changes if keys.moves else harmless
                self._at_work[name] = DriverAtWork(name, make(), renew, changes, partial(_at_rest, keys))
        except BaseException:
            self.close()
            raise

    def tell(self, commands: Commands, now_ns: int) -> None:
        """Pass a step's commands on, those that have ended left out: they waited while nobody was at work."""
        self._latest_ns = now_ns
        for name, command in commands:
            if now_ns < command.expires_ns:
                self._at_work[name].poll(now_ns)
                self._at_work[name].tell(command, now_ns, False)
                self._ends_ns[name] = command.expires_ns

    def rest_where_due(self, now_ns: int) -> None:
        """Bring to rest what nobody renews; one that has failed is tried again when that is due."""
        self._latest_ns = max(now_ns, self._latest_ns)
        for device in self._at_work.values():
            device.poll(now_ns)
        for name in [name for name, ends_ns in self._ends_ns.items() if now_ns >= ends_ns]:
            del self._ends_ns[name]
            self._at_work[name].tell(_at_rest(self._keys[name], 0, now_ns + LONG_NS), now_ns, False)

    def changes(self) -> Changes:
        """Return what has changed since the last call."""
        news = Changes([*self._changes.faults], [*self._changes.stops])
        self._changes.faults.clear()
        self._changes.stops.clear()
        return news

    def halt(self, seconds: float) -> None:
        """Do nothing: they are at work here."""

    def close(self) -> None:
        """Bring all to rest and let go of them; one that fails does not keep the others from it."""
        self._ends_ns = dict.fromkeys(self._at_work, 0)
        self.rest_where_due(self._latest_ns)
        for name, device in self._at_work.items():
            try:
                device.close()
            except FAILURES as error:
                self._changes.faults.append((name, f"closing it raised {in_words(error)}"))


def _made(keys: OutputKeys, context: DriverContext) -> Any:
    cls = load_class(keys.driver, f"driver of output '{context.name}'")
    return made(cls, keys, context, ("apply", "close"))


def _at_rest(keys: OutputKeys, sequence: int, expires_ns: int) -> OutputCommand:
    return OutputCommand(keys.at_rest, sequence, expires_ns)
