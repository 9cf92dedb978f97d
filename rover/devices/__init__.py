"""Devices, a folder a family: its keys in the robot file, its values and its drivers."""
