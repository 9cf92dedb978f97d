"""The stop input: hard-wired, normally closed."""
