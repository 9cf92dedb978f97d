"""The gripper: jaws moved by a servo."""
