"""Heading: absolute-orientation sensor or compass."""
