"""Drivers of a person's own, for tests: what they share, and the module that a robot file names."""

import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any, ClassVar

from rover.devices.protocols import DriverContext
from rover.files import yaml_source
from rover.files.robot import Robot

CART = Path(__file__).parents[2] / "config/cart.yaml"


class Base:
    """What the drivers of these tests share: a log of what was done to them."""

    log: ClassVar[list[tuple[str, str]]] = []

    def __init__(self, options, context):
        self.options = options
        self.note("made")

    def note(self, what):
        Base.log.append((type(self).__name__, what))

    def close(self):
        self.note("closed")


class Told(Base):
    def apply(self, command, now_ns):
        self.note(f"told {command.sequence}")


def as_module(names: Mapping[str, Any]) -> Iterator[None]:
    """Have the classes among these names, and `Told`, as a user's own module, ``my_drivers``; the log is emptied."""
    made = ModuleType("my_drivers")
    vars(made).update({name: one for name, one in names.items() if isinstance(one, type)}, Told=Told)
    sys.modules["my_drivers"] = made
    Base.log.clear()
    yield
    del sys.modules["my_drivers"]


def context(**devices):
    usual = {"drive": {"driver": "my_drivers:Told"}, "counts": {"driver": "my_drivers:Counts"}}
    values = yaml_source.read(CART, CART.name).values | {"devices": usual | devices}
    return DriverContext(Robot.model_validate(values), 1, {})
