"""Start button on a pin: normally open, between the pin and ground, with a pull-up; debounced by the kernel."""

from rover.devices.kernel.gpio import InputLines

SETTLE_S = 0.03


class StartButton:
    """Tells of presses. A press asks to go on; it never starts motion by itself.

    Raises:
        DeviceError: the pin cannot be had.
    """

    def __init__(self, chip: str, pin: int) -> None:
        self._lines = InputLines(chip, [pin], "pull_up", debounce_s=SETTLE_S)

    def presses(self) -> tuple[int, ...]:
        """Return when (monotonic ns) it was pressed since the last call. Held down at the start is no press."""
        return tuple(edge.taken_ns for edge in self._lines.edges() if not edge.rising)

    def close(self) -> None:
        """Let go of the pin."""
        self._lines.close()
