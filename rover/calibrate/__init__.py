"""Calibration: measure the robot against tape, ruler and known headings, and correct its file."""
