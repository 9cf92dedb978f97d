"""Pins by the kernel's GPIO character device, through the `gpiod` package (version 2), imported when a pin is used.

Where the robot file names a folder instead of a chip, each line is a file ``lineN`` in it (`FolderLines`):
the same drivers then work on a computer without pins.
"""

import errno
from collections.abc import Iterable, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any, Literal, NamedTuple

from rover.devices.kernel.files import DeviceError, explain
from rover.devices.kernel.folder_lines import FolderLines
from rover.errors import to_install

CONSUMER = "rover"
EVENTS_KEPT = 1024
"""Edges that the kernel keeps between two reads; it allows no more."""

Bias = Literal["none", "pull_up", "pull_down"]


class Edge(NamedTuple):
    """One edge of an input line.

    Attributes:
        line: offset of the line on its chip.
        rising: the line went high.
        taken_ns: when the kernel saw it (CLOCK_MONOTONIC, ns).
        sequence: counts up by one for each edge of any line of the request; a gap tells that edges were lost.
    """

    line: int
    rising: bool
    taken_ns: int
    sequence: int


class OutputLines:
    """Output lines of one chip, low from the start and low again before they are let go. One thread at a time.

    Raises:
        DeviceError: no such chip or line, no permission, a line is in use, or the package is missing.
    """

    def __init__(self, chip: str, lines: Iterable[int]) -> None:
        self._lines = tuple(lines)
        self._request: Any = _request_outputs(chip, self._lines)

    def set(self, levels: Mapping[int, bool]) -> None:
        """Set some of the lines high or low, all at once."""
        self._request.set_values(levels)

    def close(self) -> None:
        """Set every line low, then let go; a second call does nothing."""
        if self._request is None:
            return
        request, self._request = self._request, None
        try:
            request.set_values(dict.fromkeys(self._lines, False))
        finally:
            request.release()


class InputLines:
    """Input lines of one chip with both edges timed by the kernel. One thread at a time.

    Args:
        chip: path of the GPIO device.
        lines: offsets on it.
        bias: the pull resistor that the chip switches on.
        debounce_s: time (s) for which a level must last before the kernel tells it, rising or falling; 0: none.

    Raises:
        DeviceError: as for `OutputLines`.
    """

    def __init__(self, chip: str, lines: Iterable[int], bias: Bias = "none", debounce_s: float = 0.0) -> None:
        self._request: Any = _request_inputs(chip, tuple(lines), bias, debounce_s)

    def is_high(self, line: int) -> bool:
        """Tell the present level of a line."""
        return bool(self._request.get_values([line])[0])

    def edges(self) -> Sequence[Edge]:
        """Return the edges since the last call, oldest first. Never waits."""
        edges: list[Edge] = []
        while self._request.wait_edge_events(0):
            edges.extend(map(_edge, self._request.read_edge_events(EVENTS_KEPT)))
        return edges

    def close(self) -> None:
        """Let go of the lines; a second call does nothing."""
        if self._request is not None:
            self._request.release()
            self._request = None


class _Levels:
    """An output request of the package, set with plain booleans."""

    def __init__(self, request: Any, values: Any) -> None:
        self._set_values, self._low, self._high = request.set_values, values.INACTIVE, values.ACTIVE
        self.release = request.release

    def set_values(self, levels: Mapping[int, bool]) -> None:
        self._set_values({line: self._high if level else self._low for line, level in levels.items()})


def _request_outputs(chip: str, lines: tuple[int, ...]) -> Any:
    if Path(chip).is_dir():
        return FolderLines(Path(chip), lines, is_output=True)
    gpiod = _package()
    settings = gpiod.LineSettings(
        direction=gpiod.line.Direction.OUTPUT, output_value=gpiod.line.Value.INACTIVE, bias=gpiod.line.Bias.AS_IS
    )
    return _Levels(_request(gpiod, chip, lines, settings), gpiod.line.Value)


def _request_inputs(chip: str, lines: tuple[int, ...], bias: Bias, debounce_s: float) -> Any:
    if Path(chip).is_dir():
        return FolderLines(Path(chip), lines, is_output=False)
    gpiod = _package()
    kinds = gpiod.line.Bias
    settings = gpiod.LineSettings(
        direction=gpiod.line.Direction.INPUT,
        edge_detection=gpiod.line.Edge.BOTH,
        bias={"none": kinds.DISABLED, "pull_up": kinds.PULL_UP, "pull_down": kinds.PULL_DOWN}[bias],
        debounce_period=timedelta(seconds=debounce_s),
        event_clock=gpiod.line.Clock.MONOTONIC,
    )
    return _request(gpiod, chip, lines, settings)


def _request(gpiod: Any, chip: str, lines: tuple[int, ...], settings: Any) -> Any:
    try:
        return gpiod.request_lines(chip, config={lines: settings}, consumer=CONSUMER, event_buffer_size=EVENTS_KEPT)
    except (OSError, ValueError) as error:
        raise DeviceError(_why(error, chip, lines)) from error


def _why(error: OSError | ValueError, chip: str, lines: tuple[int, ...]) -> str:
    named = f"line {lines[0]}" if len(lines) == 1 else f"lines {', '.join(map(str, lines))}"
    code = getattr(error, "errno", None)
    if code == errno.EBUSY:
        return f"{chip}, {named}: in use by another program or by the kernel; end that program, or use another pin"
    if code == errno.EINVAL or isinstance(error, ValueError):
        return f"{chip}, {named}: the chip has no such line or cannot do this on it; check the pins in the robot file"
    return explain(OSError(code, str(error)), Path(chip)) if code else f"{chip}, {named}: {error}"


def _edge(event: Any) -> Edge:
    rising = event.event_type.name == "RISING_EDGE"
    return Edge(event.line_offset, rising, event.timestamp_ns, event.global_seqno)


def _package() -> Any:
    try:
        import gpiod
        import gpiod.line
    except ImportError as error:
        raise DeviceError(f"pins need the package 'gpiod' (version 2): {to_install('gpio')}") from error
    return gpiod
