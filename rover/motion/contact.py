"""Bumpers: what a robot has run into, and which motions would push on."""

from collections.abc import Mapping
from typing import Any

from rover.devices.own import OwnDeviceKeys
from rover.files.robot import Robot
from rover.motion.hold_backs import BACKWARDS, FORWARDS, LEFT, RIGHT

TOWARDS = {"front": FORWARDS, "rear": BACKWARDS, "left": LEFT | RIGHT, "right": LEFT | RIGHT}
"""Motions that push on at an end; at a side any turn does, with one corner or the other."""


class Contacts:
    """What the devices with ``contact:`` feel, by the last report of each."""

    def __init__(self, robot: Robot) -> None:
        self._bumpers = {
            name: device
            for name, device in robot.devices.further.items()
            if isinstance(device, OwnDeviceKeys) and device.contact is not None
        }
        self.found: tuple[tuple[str, int], ...] = ()
        self._touched: dict[str, str] = {}

    def feel(self, name: str, value: Mapping[str, Any]) -> None:
        """Take in a report of a device; only a bumper's tells of contact, and one that does not know ends none."""
        bumper = self._bumpers.get(name)
        if bumper is None or bumper.contact is None:
            return
        touches = bumper.touches(value)
        if touches:
            self._touched[name] = bumper.contact
        elif touches is not None:
            self._touched.pop(name, None)
        self.found = tuple((f"contact {end}", TOWARDS[end]) for end in self._touched.values())
