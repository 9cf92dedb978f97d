"""What a device reported, in words for a person."""

from collections.abc import Mapping, Sequence
from typing import Any


def in_words(value: Any) -> str:
    """Return a reading's value as text: names and values, what is not known left out."""
    named = value if isinstance(value, Mapping) else value._asdict() if hasattr(value, "_asdict") else {}
    parts = [f"{name} {_in_short(item)}" for name, item in named.items() if item is not None]
    return ", ".join(parts) or "reports"


def _in_short(item: object) -> str:
    if isinstance(item, bool):
        return "yes" if item else "no"
    if isinstance(item, Sequence) and not isinstance(item, str):
        return str(len(item))
    return f"{item:.4g}" if isinstance(item, float) else str(item)
