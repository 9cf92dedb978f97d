"""Outputs of a person's own: what a behaviour sets, and drivers of theirs carry out."""
