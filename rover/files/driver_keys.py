"""The file in which a driver of a person's own declares its keys: ``bumper.keys.yaml`` beside ``bumper.py``.

It is found and read without importing the module, so that a check can tell a misspelt key from one that is meant::

    keys:
      Bumper:
        pin: {kind: whole number, about: Line of the switch on its chip.}
        settle: {kind: time, default: 20 ms, about: So long the contact must last.}
        side: {kind: [front, rear], default: front, about: Where it sits.}

`config/README.md` says more.
"""

import sys
from collections.abc import Iterable, Sequence
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, create_model, model_validator

from rover.files import types
from rover.files.problems import nearest
from rover.files.types import Model, Name, Text, loose

KINDS: dict[str, Any] = {
    "number": types.Number,
    "whole number": types.WholeNumber,
    "share": types.Share,
    "length": types.Length,
    "time": types.Time,
    "angle": types.Angle,
    "speed": types.Speed,
    "turn rate": types.TurnRate,
    "acceleration": types.Acceleration,
    "turn acceleration": types.TurnAcceleration,
    "frequency": types.Frequency,
    "voltage": types.Voltage,
    "current": types.Current,
    "resistance": types.Resistance,
    "temperature": types.Temperature,
    "yes or no": types.YesOrNo,
    "text": types.Text,
    "anything": Annotated[Any, BeforeValidator(loose)],
}
"""What may stand behind a key, and the type that reads it; besides, a list of words is a choice of one of them."""

NONE = "none"
"""The default of a key that may be left out; it is then None to the driver."""

_folders: list[str] = []


def look_in(folders: Sequence[Path]) -> None:
    """Look for drivers in these folders as well, in the last one first, and only then among what is installed."""
    for folder in folders:
        _folders.insert(0, str(folder.resolve()))


def file_of(driver: str) -> Path | None:
    """Return the file that declares the keys of ``package.module:Class``; None where there is none."""
    top, *below = driver.partition(":")[0].split(".")
    spec = _spec(top)
    if spec is None:
        return None
    modules = [Path(folder).joinpath(*below) for folder in spec.submodule_search_locations or ()]
    if not below and spec.origin is not None:
        modules = [Path(spec.origin).with_suffix("")]
    files = (module / "__init__" if module.is_dir() else module for module in modules)
    return next((file for one in files if (file := one.with_name(f"{one.name}.keys.yaml")).is_file()), None)


def kept_file_of(driver: str, names: Iterable[str]) -> Path | None:
    """As `file_of`, among files that were kept, by name."""
    module = driver.partition(":")[0].replace(".", "/")
    ends = (f"{module}.keys.yaml", f"{module}/__init__.keys.yaml")
    return next((path for path in map(Path, names) if any(path.match(end) for end in ends)), None)


def _spec(top: str) -> ModuleSpec | None:
    """Return where a module or package without a dot in its name lies; that imports nothing."""
    try:
        return PathFinder.find_spec(top, [*_folders, *sys.path]) or find_spec(top)
    except (ImportError, ValueError):
        return None


def _kind(value: Any) -> Any:
    """Return the type that a kind means."""
    if isinstance(value, list) and value and all(isinstance(word, str) for word in value):
        return Literal[tuple(value)]
    if not isinstance(value, str) or value not in KINDS:
        near = nearest(value, KINDS) if isinstance(value, str) else f": {', '.join(KINDS)}"
        raise ValueError(f"a kind is due here, or a list of words such as [front, rear]{near}")
    return KINDS[value]


class OwnKey(Model):
    """One key of a driver of a person's own.

    Attributes:
        kind: the type of what stands behind it.
        default: what it is where the robot file leaves it out, `NONE` for nothing; left out itself: it has to be given.
        about: one line about it.
    """

    kind: Annotated[Any, BeforeValidator(_kind), types.Due("kind")]
    default: Any = Field(default_factory=lambda: ...)
    about: Text

    @model_validator(mode="after")
    def _default_is_of_the_kind(self) -> "OwnKey":
        kind, default = self.definition
        if default is not ...:
            create_model("OwnKey", default=(kind, ...)).model_validate({"default": default})
        return self

    @property
    def definition(self) -> tuple[Any, Any]:
        """The type of what stands there, and the default as it is written, ... where there is none."""
        if self.default == NONE and NONE not in get_args(self.kind):
            return self.kind | None, None
        return self.kind, self.default


class DriverKeysFile(Model):
    """The whole file: the keys of each class of the module that is named as a driver."""

    keys: dict[Text, dict[Name, OwnKey]]
