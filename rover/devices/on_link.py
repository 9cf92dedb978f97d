"""Devices on a serial link: several share one. `tools/coprocessor/` has what a co-processor's firmware needs."""

from collections.abc import Mapping
from typing import Any

from rover.devices.protocols import DriverContext
from rover.link import Link


def link_of(options: Mapping[str, Any], context: DriverContext) -> Link:
    """Return the link that a device's options name.

    Raises:
        ValueError: they name none, or one that is not open.
    """
    name = options.get("link")
    link = context.links.get(name) if isinstance(name, str) else None
    if not isinstance(link, Link):
        raise ValueError(f"driver '{options.get('driver')}' needs 'link:', one of {', '.join(context.links) or 'none'}")
    return link


class OnLink:
    """What the drivers have in common: the link is closed by who opened it, not by one of its drivers."""

    def __init__(self, options: Mapping[str, Any], context: DriverContext) -> None:
        self._link = link_of(options, context)

    def close(self) -> None:
        """Do nothing: the other drivers may still need the link."""
