"""A floor measured by driving over it by hand, or with a tape, and written into an errand file."""
