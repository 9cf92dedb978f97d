"""The fake drive: keeps what it is told."""

from rover.devices.script import CommandLog


class Drive(CommandLog):
    """Keeps the commands of the drive."""
