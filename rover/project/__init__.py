"""A person's own project: what is asked about the robot, and the files that are made of the answers."""
