"""Hosts of the core: what loads the files, makes the drivers, and calls the step."""
