"""Keys that nothing stands behind: left unfinished, or cut off by a comma."""

from collections.abc import Iterator
from typing import Any

from rover.files.types import NAME_PATTERN
from rover.files.yaml_source import KeyPath


def bare_keys(values: Any, where: KeyPath = ()) -> Iterator[KeyPath]:
    """Yield the places of keys that are followed by nothing: left unfinished, or commented out below."""
    pairs = values.items() if isinstance(values, dict) else enumerate(values) if isinstance(values, list) else ()
    for part, value in pairs:
        if value is None and isinstance(values, dict):
            yield (*where, part)
        yield from bare_keys(value, (*where, part))


def why_bare(key: str) -> str:
    """Return what is to be said of a key that nothing stands behind; what a comma has cut off looks like one."""
    if NAME_PATTERN.match(key) is None or " " in key:
        return "a comma outside quotes ends what stands before it; put the whole text in quotes"
    return "nothing stands behind this key; give it a value, indent what belongs to it, or remove it"
