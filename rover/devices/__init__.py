"""Devices: what they report, what they are told, and the drivers that do it."""
