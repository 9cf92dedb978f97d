"""Whether an errand can work on its field with its robot, and what follows from its files; nothing is run for it."""
