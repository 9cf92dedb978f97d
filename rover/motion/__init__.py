"""How the robot moves: routes, speed profiles, wheel control, and the limits that every command passes."""
