"""The bench: a simulated floor with objects, and stand-ins of the devices of a robot that stands on it.

Whoever imports any of it has the stand-ins registered with the devices, as their driver `simulated`.
"""

from rover.bench import devices as devices
