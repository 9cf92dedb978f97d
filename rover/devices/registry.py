"""Drivers by name: a family's own, the bench's stand-ins, and a user's own as ``package.module:Class``.

A family's own driver, its fake too, is the module of that name in the family's folder, and in it the class named for
the family: ``driver: echo_pins`` of ``range`` is `rover.devices.range.echo_pins.Range`. So nothing is imported until a
device is used. Loading a user's driver runs code, so only commands that drive something do it, and say what they load.
"""

import importlib
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rover.devices.families import FAMILIES
from rover.devices.keys import SIMULATED, why_no_driver
from rover.devices.with_driver import is_dotted
from rover.errors import UserError, in_words
from rover.files.driver_keys import look_in
from rover.files.problems import nearest

_stand_ins: dict[str, type] = {}
"""The bench's classes by their names."""


class LoadError(UserError):
    """A driver or activity cannot be had; the message says which and why."""


def register_stand_ins(*classes: type) -> None:
    """Have classes, each named for its family, stand in for devices whose driver is `SIMULATED`."""
    _stand_ins.update({one.__name__: one for one in classes})


def load_driver(family: str, driver: str) -> Any:
    """Return the class of a device's driver; the family is '' for a device of none.

    Raises:
        LoadError: there is no such driver here, or its module cannot be imported or lacks the class.
    """
    if is_dotted(driver):
        return load_class(driver, f"driver of {family}" if family else "driver")
    keys, is_guarded = FAMILIES[family].keys, FAMILIES[family].is_guarded
    if driver not in keys.names():
        raise LoadError(f"{family}: {why_no_driver(driver, keys)}")
    if is_guarded and driver in keys.DRIVERS:
        by_guard = "is driven by the motor guard, which 'rover run' starts; rehearse with 'rover rehearse'"
        raise LoadError(f"{family}: driver '{driver}' {by_guard}")
    name = family.title().replace("_", "")
    if driver != SIMULATED:
        return load_class(f"rover.devices.{family}.{driver}:{name}", f"driver of {family}")
    if name not in _stand_ins:
        raise LoadError("a simulated driver works in a rehearsal only; name a real driver in the robot file")
    return _stand_ins[name]


def load_class(dotted: str, what: str) -> Any:
    """Return the class that ``package.module:Class`` names.

    Raises:
        LoadError: the name has another form, the module cannot be imported, or it lacks the class.
    """
    module_name, _, class_name = dotted.partition(":")
    if not (all(part.isidentifier() for part in module_name.split(".")) and class_name.isidentifier()):
        raise LoadError(f"{what}: '{dotted}' is not of the form package.module:Class")
    try:
        module = importlib.import_module(module_name)
    except (Exception, SystemExit) as error:
        raise LoadError(
            f"{what}: cannot import '{module_name}' ({in_words(error)}); is its folder given with --drivers?"
        ) from error
    found = getattr(module, class_name, None)
    if not isinstance(found, type):
        classes = [name for name, value in vars(module).items() if isinstance(value, type)]
        raise LoadError(f"{what}: '{module_name}' has no class '{class_name}'{nearest(class_name, classes)}")
    return found


def allow_folders(folders: Sequence[Path]) -> None:
    """Let drivers and activities be imported from folders given on the command line."""
    look_in(folders)
    for folder in folders:
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder.resolve()))
