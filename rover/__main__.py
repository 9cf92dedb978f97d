"""``python -m rover``."""

from rover.cli import main

main()
