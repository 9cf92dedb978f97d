"""The family of the gripper."""

from rover.devices.family import Family
from rover.devices.gripper.keys import GripperKeys
from rover.devices.gripper.values import JawsValue

GRIPPER = Family(GripperKeys, JawsValue)
