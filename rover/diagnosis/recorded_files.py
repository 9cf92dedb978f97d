"""The files that a run was given, as its record keeps them: plain values, for what the rules have to know of them."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from rover.errors import UserError
from rover.files.yaml_source import read_text
from rover.quantities import QuantityError, si
from rover.record.run import RecordedRun

FILE = "file:"


def file_of(run: RecordedRun, kind: str) -> Mapping[str, Any]:
    """Return the file of a kind (``robot``, ``errand``...), by its own first key; empty where there is none."""
    for name, text in run.header.items():
        if not name.startswith(FILE):
            continue
        try:
            values = read_text(text, Path(), name.removeprefix(FILE)).values
        except UserError:
            continue
        if isinstance(values, Mapping) and kind in values:
            return values
    return {}


def devices_on_links(run: RecordedRun) -> dict[str, list[str]]:
    """Return, by link, the devices of the robot file that use it."""
    found: dict[str, list[str]] = {}
    for device, keys in block(file_of(run, "robot"), "devices").items():
        if isinstance(keys, Mapping) and isinstance(link := keys.get("link"), str):
            found.setdefault(link, []).append(device)
    return found


def fetched(run: RecordedRun) -> Collection[str]:
    """Return the kinds that were to be fetched, by the errand file: those of its 'order', else all."""
    errand = file_of(run, "errand")
    order = errand.get("order")
    return order if isinstance(order, list) else block(errand, "kinds")


def block(values: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """Return a block of a file, empty where there is none."""
    found = values.get(key)
    return found if isinstance(found, Mapping) else {}


def quantity(written: Any) -> float | None:
    """Return a quantity of a file in SI units; None where that is none."""
    try:
        return si(written) if isinstance(written, str) else None
    except QuantityError:
        return None
