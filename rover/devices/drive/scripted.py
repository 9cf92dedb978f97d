"""A drive that keeps its commands."""

from rover.devices.fakes import CommandLog


class Drive(CommandLog):
    """Keeps the commands of the drive."""
