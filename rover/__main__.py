"""``python -m rover``."""

from rover.commands.main import main

main()
