"""Counts: the wheel encoders."""
