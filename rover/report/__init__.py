"""The report of a run: one HTML file, made of its record."""

from rover.report.page import write_report

__all__ = ["write_report"]
