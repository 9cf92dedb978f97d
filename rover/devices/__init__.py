"""Devices, a folder a family: its keys in the robot file, its values, its drivers and its fake."""
