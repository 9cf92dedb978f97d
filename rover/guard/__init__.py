"""The motor guard: a small process that alone holds the actuators and brings them to zero when nobody commands them.

It is no substitute for a hard-wired emergency stop: software on a hobby-size machine is no certified safety function.
Local codes and licensed practice come first.
"""
