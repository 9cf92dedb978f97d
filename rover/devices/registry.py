"""Drivers by name: built-in short names, and a user's own as ``package.module:Class``.

The table holds texts, so that nothing is imported until a device is used. Loading a user's driver runs code, so
only commands that drive something do it, and say what they load.
"""

import importlib
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rover.errors import UserError
from rover.files.problems import nearest

_BENCH = "rover.bench.devices"
_LINK = "rover.devices.co_processor"

_FAKES = "rover.devices.scripted"
_HERE = "rover.devices"

SIMULATED = "simulated"
SCRIPTED = "scripted"
BUILT_IN: dict[str, dict[str, str]] = {
    "drive": {
        "co_processor": f"{_LINK}:Drive",
        "h_bridge": f"{_HERE}.h_bridge:Drive",
        SCRIPTED: f"{_FAKES}:Drive",
        SIMULATED: f"{_BENCH}:Drive",
    },
    "counts": {
        "co_processor": f"{_LINK}:Counts",
        "encoder_pins": f"{_HERE}.encoder_pins:Counts",
        SCRIPTED: f"{_FAKES}:Counts",
        SIMULATED: f"{_BENCH}:Counts",
    },
    "heading": {
        "co_processor": f"{_LINK}:Heading",
        "compass": "rover.devices.compass:Heading",
        SCRIPTED: f"{_FAKES}:Heading",
        SIMULATED: f"{_BENCH}:Heading",
    },
    "range": {"echo_pins": f"{_HERE}.echo_pins:Range", SCRIPTED: f"{_FAKES}:Range", SIMULATED: f"{_BENCH}:Range"},
    "camera": {"video": "rover.session.camera:Camera", SCRIPTED: f"{_FAKES}:Camera", SIMULATED: f"{_BENCH}:Camera"},
    "gripper": {
        "co_processor": f"{_LINK}:Gripper",
        "servo_pins": f"{_HERE}.servo_pins:Gripper",
        SCRIPTED: f"{_FAKES}:Gripper",
        SIMULATED: f"{_BENCH}:Gripper",
    },
    "battery": {
        "co_processor": f"{_LINK}:Battery",
        "adc_file": f"{_HERE}.adc_file:Battery",
        SCRIPTED: f"{_FAKES}:Battery",
        SIMULATED: f"{_BENCH}:Battery",
    },
    "stop_input": {
        "stop_pin": f"{_HERE}.stop_pin:StopInput",
        SCRIPTED: f"{_FAKES}:StopInput",
        SIMULATED: f"{_BENCH}:StopInput",
    },
}


class LoadError(UserError):
    """A driver or activity cannot be had; the message says which and why."""


def is_dotted(name: str) -> bool:
    """Tell whether a name is a user's own ``package.module:Class``."""
    return ":" in name


def why_unknown(family: str, driver: str) -> str:
    """Return why a driver's name cannot be used, or '' for a built-in one or a user's own."""
    if is_dotted(driver) or driver in BUILT_IN[family]:
        return ""
    return (
        f"there is no driver '{driver}' for {family}{nearest(driver, BUILT_IN[family])}; or name package.module:Class"
    )


def load_driver(family: str, driver: str) -> Any:
    """Return the class of a device's driver.

    Raises:
        LoadError: there is no such driver, or its module cannot be imported or lacks the class.
    """
    if why := why_unknown(family, driver):
        raise LoadError(why)
    return load_class(BUILT_IN[family].get(driver, driver), f"driver of {family}")


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
    except Exception as error:
        raise LoadError(
            f"{what}: cannot import '{module_name}' ({type(error).__name__}: {error}); "
            "is its folder given with --drivers?"
        ) from error
    found = getattr(module, class_name, None)
    if not isinstance(found, type):
        classes = [name for name, value in vars(module).items() if isinstance(value, type)]
        raise LoadError(f"{what}: '{module_name}' has no class '{class_name}'{nearest(class_name, classes)}")
    return found


def allow_folders(folders: Iterable[Path]) -> None:
    """Let drivers and activities be imported from folders given on the command line."""
    for folder in folders:
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder.resolve()))
