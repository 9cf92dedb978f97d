"""The pictures of a campaign, drawn as the report draws its own."""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple
from xml.etree.ElementTree import Element

from rover.geometry import XY
from rover.report.axis import Axis
from rover.report.look import GRID_BOLD, GRID_FINE, INK, INK_SOFT, PAPER, TINTS, Stroke
from rover.report.markup import add
from rover.report.symbols import HAIR, line, words
from rover.report.view import WIDTH
from rover.trials.ranking import Link
from rover.trials.summary import ErrorFigures, Summary
from rover.trials.words import called, chance_words

LEFT, RIGHT, ROW = 300.0, WIDTH - 120.0, 26.0
PLOT_LEFT, PLOT_RIGHT, HEIGHT = 70.0, WIDTH - 20.0, 210.0
CLOSEST = 56.0
"""Picture units between two names along an axis, so that both can be read."""
BOLD = Stroke(2.0)

Mark = Callable[[Element, XY], None]


class Seen(NamedTuple):
    """A value with the ends of its interval as far as they are known, at a place, and the sign for it."""

    place: float
    value: float
    low: float | None
    high: float | None
    mark: Mark


def dot(parent: Element, at: XY) -> None:
    """Draw what is shown, or half of all values."""
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 4.5, "fill": TINTS["teal"].fill, "stroke": INK})


def ring(parent: Element, at: XY) -> None:
    """Draw what may be luck."""
    add(parent, "circle", {"cx": at[0], "cy": at[1], "r": 4.5, "fill": PAPER, "stroke": INK, "stroke-width": 1.4})


def diamond(parent: Element, at: XY) -> None:
    """Draw 95 % of all values."""
    x, y = at
    corners = f"{x:.1f},{y - 6:.1f} {x + 6:.1f},{y:.1f} {x:.1f},{y + 6:.1f} {x - 6:.1f},{y:.1f}"
    add(parent, "polygon", {"points": corners, "fill": PAPER, "stroke": INK, "stroke-width": 1.4})


def draw_links(links: Sequence[Link]) -> Element:
    """Return a row for each parameter: the chance that a failed trial has more of it, with its interval."""
    chance = Axis(0.0, 1.0, LEFT, RIGHT)
    bottom = ROW * len(links) + 8.0
    picture = _picture(bottom + 44.0, "What the failures go with")
    for tick in chance.ticks(10):
        line(picture, (chance.at(tick), 0), (chance.at(tick), bottom), HAIR, GRID_FINE)
        words(picture, (chance.at(tick), bottom + 16), f"{100 * tick:.0f}", text_anchor="middle")
    line(picture, (chance.at(0.5), 0), (chance.at(0.5), bottom), Stroke(1.2, "4 3"))
    for number, link in enumerate(links):
        y = ROW * (number + 0.6)
        words(picture, (LEFT - 12, y + 4.5), f"{link.parameter}: {link.where}", text_anchor="end")
        line(picture, (chance.at(link.chance.low), y), (chance.at(link.chance.high), y), BOLD)
        (dot if link.is_shown else ring)(picture, (chance.at(link.chance.value), y))
        words(picture, (RIGHT + 10, y + 4.5), chance_words(link.p))
    said = "of a failed and a successful trial, how often the failed one has more of this / %; 50: as luck has it"
    words(picture, (RIGHT, bottom + 36), said, text_anchor="end", font_style="italic", fill=INK_SOFT)
    return picture


def draw_varied(summary: Summary) -> Element:
    """Return share of successes and time of successes, each with its interval, against the value that is varied."""
    tried = [one for one in summary.variants if one.share is not None]
    places = places_of(summary, [one.name for one in tried])
    picture = _picture(2 * HEIGHT + 120.0, "Share and time against the value")
    shares = [
        Seen(place, 100.0 * one.share.value, 100.0 * one.share.low, 100.0 * one.share.high, dot)
        for place, one in zip(places, tried, strict=True)
        if one.share is not None
    ]
    _draw_panel(picture, 14.0, Axis(0.0, 100.0, HEIGHT, 14.0), shares, "successes / %")
    times = [
        Seen(place + shift, time.value, time.low, time.high, mark)
        for place, one in zip(places, tried, strict=True)
        for time, shift, mark in ((one.half_s, 0.0, dot), (one.most_s, 9.0, diamond))
        if time is not None
    ]
    top, bottom = HEIGHT + 50.0, 2 * HEIGHT + 36.0
    _draw_panel(picture, top, Axis(*_span(times), bottom, top), times, "time of successes / s")
    for place, one in zip(places, tried, strict=True):
        for below in (HEIGHT, bottom):
            words(picture, (place, below + 18), called(one.name).rpartition("=")[2], text_anchor="middle")
    _draw_legend(picture, bottom + 48.0, tried[0].name.rpartition("=")[0] if tried else "")
    return picture


def places_of(summary: Summary, names: Sequence[str]) -> list[float]:
    """Return where variants lie along the axis: as their numbers are, or side by side if these lie too close."""
    numbers = [summary.asked.places.get(name, math.nan) for name in names]
    margin = 60.0
    low, high = PLOT_LEFT + margin, PLOT_RIGHT - margin
    if all(map(math.isfinite, numbers)) and len(set(numbers)) > 1:
        axis = Axis(min(numbers), max(numbers), low, high)
        places = [axis.at(number) for number in numbers]
        ordered = sorted(places)
        if all(after - before >= CLOSEST for before, after in pairwise(ordered)):
            return places
    return [low + (high - low) * (number + 0.5) / len(names) for number in range(len(names))]


def _span(times: Sequence[Seen]) -> tuple[float, float]:
    """Return the ends of the axis of times; it need not begin at zero."""
    known = [end for time in times for end in (time.value, time.low, time.high) if end is not None]
    low, high = min(known, default=0.0), max(known, default=1.0)
    more = max(0.08 * (high - low), 1.0)
    return low - more, high + more


def _draw_panel(picture: Element, top: float, axis: Axis, seen: Sequence[Seen], name: str) -> None:
    for tick in axis.ticks(5):
        y = axis.at(tick)
        line(picture, (PLOT_LEFT, y), (PLOT_RIGHT, y), HAIR, GRID_FINE)
        words(picture, (PLOT_LEFT - 8, y + 4.5), f"{tick:g}", text_anchor="end")
    for x in (PLOT_LEFT, PLOT_RIGHT):
        line(picture, (x, top), (x, axis.start), HAIR, GRID_BOLD)
    line(picture, (PLOT_LEFT, axis.start), (PLOT_RIGHT, axis.start), HAIR)
    words(picture, (PLOT_LEFT + 8, top + 6), name, font_style="italic", fill=INK_SOFT)
    for one in seen:
        _draw_seen(picture, axis, one)


def _draw_seen(picture: Element, axis: Axis, one: Seen) -> None:
    """Draw a value with its interval; an end that is not known stays without a bar."""
    ends = [axis.at(one.value if end is None else end) for end in (one.low, one.high)]
    line(picture, (one.place, ends[0]), (one.place, ends[1]), BOLD)
    for y, end in zip(ends, (one.low, one.high), strict=True):
        if end is not None:
            line(picture, (one.place - 5, y), (one.place + 5, y), BOLD)
    one.mark(picture, (one.place, axis.at(one.value)))


def _draw_legend(picture: Element, y: float, key: str) -> None:
    words(picture, (PLOT_RIGHT, y), key, text_anchor="end", font_style="italic", fill=INK_SOFT)
    for x, mark, said in (
        (PLOT_LEFT, dot, "share, or half of the times"),
        (PLOT_LEFT + 210, diamond, "95 % of the times"),
    ):
        mark(picture, (x, y - 4.5))
        words(picture, (x + 12, y), said)


def draw_errors(errors: ErrorFigures) -> Element:
    """Return how many finds have which axis error."""
    bottom = 170.0
    count = Axis(0.0, max(errors.bins), bottom, 14.0)
    size = Axis(0.0, len(errors.bins), PLOT_LEFT, PLOT_RIGHT)
    picture = _picture(bottom + 46.0, "Axis errors")
    for tick in count.ticks(4):
        line(picture, (PLOT_LEFT, count.at(tick)), (PLOT_RIGHT, count.at(tick)), HAIR, GRID_FINE)
        words(picture, (PLOT_LEFT - 8, count.at(tick) + 4.5), f"{tick:g}", text_anchor="end")
    for number, finds in enumerate(errors.bins):
        place = {"x": size.at(number), "y": count.at(finds), "width": size.at(1) - size.at(0)}
        add(picture, "rect", {**place, "height": bottom - count.at(finds), "fill": TINTS["amber"].fill, "stroke": INK})
    for edge in range(0, len(errors.bins) + 1, max(len(errors.bins) // 15, 1)):
        words(picture, (size.at(edge), bottom + 16), f"{1000 * errors.bin_m * edge:g}", text_anchor="middle")
    beyond = errors.worst >= errors.bin_m * len(errors.bins)
    said = f"axis error at finds / mm{'; the last bar has all greater ones too' if beyond else ''}"
    words(picture, (PLOT_RIGHT, bottom + 36), said, text_anchor="end", font_style="italic", fill=INK_SOFT)
    return picture


def _picture(height: float, name: str) -> Element:
    return Element("svg", {"viewBox": f"0 0 {WIDTH:g} {height:.0f}", "role": "img", "aria-label": name})
