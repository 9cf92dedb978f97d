"""Onboard runtime for small wheeled fetch-and-return robots."""

__version__ = "0.1.0"
