"""The family of the drive."""

from rover.devices.drive.keys import DriveKeys
from rover.devices.drive.values import DriveCommand
from rover.devices.family import Family

DRIVE = Family(DriveKeys, DriveCommand, is_guarded=True, reports=False)
