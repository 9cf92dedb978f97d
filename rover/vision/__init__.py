"""Seeing: where detected objects stand in the field, what is remembered of them, and which one is the target."""
