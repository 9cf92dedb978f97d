"""The files a person writes: robot, errand, behaviour and bench; loading them with line-numbered errors."""
