"""The lines of a bench file's fault schedule: ``at 12 s: heading silent for 3 s``."""

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator

from rover import quantities
from rover.devices.families import FAMILIES
from rover.files.problems import nearest
from rover.quantities import LENGTH, TIME, QuantityError


@dataclass(frozen=True)
class ScheduledFault:
    """One line of ``faults``.

    Attributes:
        at: s from the start.
        device: a device family, ``link``, or ``jar``.
        what: one of `DEVICE_FAULTS`, ``jump`` or ``moved``.
        lasts: s; infinite when the line does not say.
        number: the counts of a jump (added to both sides), the jar's number.
        place: where a jar is moved to (m, field frame).
    """

    at: float
    device: str
    what: str
    lasts: float = math.inf
    number: int = 0
    place: tuple[float, float] | None = None


DEVICE_FAULTS: dict[str, tuple[str, ...]] = {
    **{name.replace("_", " "): family.faults for name, family in FAMILIES.items()},
    "link": ("silent",),
}
_LINE = re.compile(r"at (?P<at>[^:]+?)\s*:\s*(?P<what>.+?)(?: for (?P<lasts>.+))?")
_JUMP = re.compile(r"counts jump of ([-+]?\d+)")
_MOVED = re.compile(r"jar (\d+) moved to \[([^,]+),([^,]+)\]")


def parse_fault(value: Any) -> ScheduledFault:
    """Return the fault that a line means; YAML reads an unquoted line as a mapping of one key, which is taken too.

    Raises:
        ValueError: the line is not of the form, or names an unknown device or fault; the text says what is allowed.
    """
    if isinstance(value, ScheduledFault):
        return value
    if isinstance(value, dict) and len(value) == 1:
        value = ": ".join(map(str, *value.items()))
    match = _LINE.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f"'{value}' is no fault; write it as in 'at 12 s: heading silent for 3 s'")
    at = _time(match["at"], "at")
    momentary = _momentary(match["what"], at)
    if momentary is None:
        return _lasting(match["what"], at, _time(match["lasts"], "for") if match["lasts"] else math.inf)
    if match["lasts"]:
        raise ValueError(f"'{match['what']}' happens at once; leave out 'for {match['lasts']}'")
    return momentary


def _time(text: str, after: str) -> float:
    try:
        seconds = quantities.parse_as(text, TIME)
    except QuantityError as error:
        raise ValueError(f"after '{after}': {error}") from None
    if seconds < 0.0:
        raise ValueError(f"after '{after}': '{text}' must not be negative")
    return seconds


def _momentary(what: str, at: float) -> ScheduledFault | None:
    if jump := _JUMP.fullmatch(what):
        return ScheduledFault(at, "counts", "jump", 0.0, int(jump[1]))
    if moved := _MOVED.fullmatch(what):
        x, y = (quantities.parse_as(text.strip(), LENGTH) for text in moved.groups()[1:])
        return ScheduledFault(at, "jar", "moved", 0.0, int(moved[1]), (x, y))
    return None


def _lasting(what: str, at: float, lasts: float) -> ScheduledFault:
    device = next((name for name in DEVICE_FAULTS if what.startswith(name + " ")), None)
    if device is None:
        first = what.split(" ")[0]
        forms = "'<device> <fault>', 'counts jump of 400' or 'jar 3 moved to [1 m, 2 m]'"
        raise ValueError(f"'{what}' is no fault: {forms} is due{nearest(first, DEVICE_FAULTS)}")
    fault = what[len(device) + 1 :]
    if fault not in DEVICE_FAULTS[device]:
        also = ", jump of <n>" if device == "counts" else ""
        raise ValueError(f"'{fault}' is no fault of '{device}' (allowed: {', '.join(DEVICE_FAULTS[device])}{also})")
    return ScheduledFault(at, device.replace(" ", "_"), fault, lasts)


FaultLine = Annotated[ScheduledFault, BeforeValidator(parse_fault)]
