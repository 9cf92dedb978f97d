"""The bench: a simulated floor with objects, and the devices of a robot that stands on it."""
