"""Small helpers over `xml.etree.ElementTree`, which does the escaping."""

import re
from collections.abc import Mapping
from xml.etree.ElementTree import Element, SubElement

_BEHIND_SLASH = re.compile(r"(?<=\w/)(?=\w)")
# Characters that HTML has no way to write: they would make the file invalid, escaped or not.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def add(parent: Element, tag: str, attributes: Mapping[str, object] | None = None, text: str = "") -> Element:
    """Add an element to ``parent`` and return it; numbers among the attributes are written to a hundredth."""
    child = SubElement(parent, tag, {name: _written(value) for name, value in (attributes or {}).items()})
    child.text = _UNWRITABLE.sub("\ufffd", text) or None
    return child


def add_breakable(parent: Element, tag: str, attributes: Mapping[str, object] | None, text: str) -> None:
    """Add an element whose text may be broken behind a slash: paths of states and files are long words."""
    first, *others = _BEHIND_SLASH.split(text)
    child = add(parent, tag, attributes, first)
    for part in others:
        SubElement(child, "wbr").tail = _UNWRITABLE.sub("\ufffd", part)


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return _UNWRITABLE.sub("\ufffd", str(value))
