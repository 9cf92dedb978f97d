"""Numbers over a run, on the time of the states: how sure the place is, speed, duties, readings."""

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.geometry import XY
from rover.record.run import RecordedRun
from rover.record.series import FRAMES, RunSeries
from rover.report import look, symbols
from rover.report.axis import Axis
from rover.report.numbers import with_minus
from rover.report.timeline import Strip, strip_for
from rover.report.view import WIDTH

HEIGHT, GAP = 84.0, 34.0
SMOOTHED = 5
"""The speed is that over so many samples of the path, half a second: a fix of the place is a jump, and no speed."""
MOST_OTHERS = 6
"""So many numbers of a person's own devices are drawn."""
STROKES = (look.Stroke(1.1), look.Stroke(1.1, "5 2.5"))


class Signal(NamedTuple):
    """A number over time: what it is, with its unit, and one or two lines of (ns, value), each with its name."""

    name: str
    lines: Sequence[tuple[str, Sequence[tuple[int, float]]]]


def signals_of(run: RecordedRun, series: RunSeries) -> list[Signal]:
    """Return the signals that the record has, those that vary or that one looks for."""
    return [one for one in (*_of_track(run), *_of_readings(series)) if any(points for _, points in one.lines)]


def _of_track(run: RecordedRun) -> Iterator[Signal]:
    track = run.track
    sigmas = [(at_ns, 1000.0 * max(point.sigma_x, point.sigma_y)) for at_ns, point, _ in track]
    yield Signal("place, larger sigma / mm", [("", sigmas)])
    yield Signal(
        "heading, sigma / deg", [("", [(at_ns, math.degrees(point.sigma_heading)) for at_ns, point, _ in track])]
    )
    speeds = [
        (b.at_ns, math.dist((a.point.x, a.point.y), (b.point.x, b.point.y)) * 1e9 / (b.at_ns - a.at_ns))
        for a, b in zip(track, track[SMOOTHED:], strict=False)
        if b.at_ns > a.at_ns
    ]
    yield Signal("speed, believed / m/s", [("", speeds)])
    sides = [(name, [(at_ns, 100.0 * duties[side]) for at_ns, _, duties in track]) for side, name in enumerate(_SIDES)]
    yield Signal("duty of the motors / %", sides)


_SIDES = ("left", "right")
_READ = (
    ("battery", "volts", "battery / V", 1.0),
    ("battery", "amps", "battery / A", 1.0),
    ("range", "distance", "range finder / m", 1.0),
    ("heading", "angle", "heading sensor / deg", 180.0 / math.pi),
    ("gripper", "opening", "jaws' opening / %", 100.0),
    ("camera", FRAMES, "camera, objects in a frame", 1.0),
)


def _of_readings(series: RunSeries) -> Iterator[Signal]:
    for device, name, title, factor in _READ:
        if device in series.devices and name in series.devices[device].numbers:
            times, numbers = series.devices[device].numbers[name]
            points = [(at, factor * value) for at, value in zip(times, numbers, strict=True)]
            yield Signal(title, [("", _broken_at_turns(points) if name == "angle" else points)])
    known = {device for device, *_ in _READ} | {"counts", "stop_input"}
    others = [
        Signal(f"{device}.{name}", [("", list(zip(*numbers, strict=True)))])
        for device, one in sorted(series.devices.items())
        if device not in known
        for name, numbers in one.numbers.items()
    ]
    yield from others[:MOST_OTHERS]


def _broken_at_turns(points: Sequence[tuple[int, float]]) -> list[tuple[int, float]]:
    """Return angles (deg) with a gap wherever they go on at the other end of the circle."""
    broken: list[tuple[int, float]] = []
    for at_ns, angle in points:
        if broken and abs(angle - broken[-1][1]) > 180.0:
            broken.append((at_ns, math.nan))
        broken.append((at_ns, angle))
    return broken


def draw_signals(run: RecordedRun, series: RunSeries, width: float = WIDTH) -> Element:
    """Return the signals, one beneath the other."""
    strip, signals = strip_for(run, width), signals_of(run, series)
    left = 58.0 if width < WIDTH else strip.left
    strip = strip._replace(left=left)
    height = len(signals) * (HEIGHT + GAP)
    picture = Element("svg", {"viewBox": f"0 0 {width:g} {height + 40:.0f}", "role": "img", "aria-label": "Signals"})
    strip.draw_times(picture, height)
    for number, signal in enumerate(signals):
        _draw_signal(picture, strip, signal, 24.0 + number * (HEIGHT + GAP))
    return picture


def _draw_signal(picture: Element, strip: Strip, signal: Signal, top: float) -> None:
    values = [value for _, points in signal.lines for _, value in points if math.isfinite(value)]
    if not values:
        return
    axis = Axis(*_span(values), top + HEIGHT, top)
    for tick in axis.ticks(4):
        y = axis.at(tick)
        symbols.line(picture, (strip.left, y), (strip.right, y), symbols.HAIR, look.GRID_FINE)
        symbols.words(picture, (strip.left - 8.0, y + 4.5), with_minus(f"{tick:z.4g}"), text_anchor="end")
    for (name, points), stroke in zip(signal.lines, STROKES, strict=False):
        for line in _lines(points, strip, axis):
            symbols.polyline(picture, line, stroke)
        if name:
            x = strip.right - 60.0 * (len(signal.lines) - [line for line, _ in signal.lines].index(name))
            symbols.line(picture, (x, top - 9.0), (x + 18.0, top - 9.0), stroke)
            symbols.words(picture, (x + 22.0, top - 4.5), name, fill=look.INK_SOFT)
    symbols.words(picture, (strip.left, top - 4.5), signal.name, font_style="italic")


def _span(values: Sequence[float]) -> tuple[float, float]:
    """Return the ends of an axis for some values: from zero on, but where they vary little beside what they are."""
    low, high = min(values), max(values)
    if low > 0.5 * high:
        low -= 0.1 * (high - low)
    else:
        low = min(low, 0.0)
    return low, max(high, low + 1e-6 + 0.02 * abs(low))


def _lines(points: Sequence[tuple[int, float]], strip: Strip, axis: Axis) -> Iterator[list[XY]]:
    """Yield the lines through the points, broken where one is not known; of each unit of width two points at most."""
    line: list[XY] = []
    column: list[XY] = []
    for at_ns, value in points:
        if not math.isfinite(value):
            if line or column:
                yield [*line, *_ends(column)]
            line, column = [], []
            continue
        place = strip.across(at_ns), axis.at(value)
        if column and place[0] - column[0][0] >= 1.0:
            line += _ends(column)
            column = []
        column.append(place)
    if line or column:
        yield [*line, *_ends(column)]


def _ends(column: Sequence[XY]) -> list[XY]:
    """Return the least and the greatest of some points, in their order."""
    if not column:
        return []
    ends = {column.index(min(column, key=_height)), column.index(max(column, key=_height))}
    return [column[at] for at in sorted(ends)]


def _height(place: XY) -> float:
    return place[1]
