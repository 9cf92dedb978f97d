"""An exit that a behaviour waits for, and how far it is from being taken: plain values, and the words for them."""

from collections.abc import Iterator
from dataclasses import dataclass

from rover.quantities import ANGLE, NONE, TURN_RATE, Dimension, parse_unit, symbol_of

Value = float | bool | str | None
NEAR_SHARE = 0.1
"""A number that is off its threshold by no more than this share of it has nearly got there."""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a condition, as it stands: a comparison, or a bare yes or no.

    Attributes:
        text: as written, with 'not' before it where it must not be so.
        holds: whether it is as wanted; None: not known.
        value, comparison, threshold: of what is measured, in SI units; a bare yes or no has only the value.
        unit: the one to show value and threshold in; '' for none.
        signals: those it reads.
    """

    text: str
    holds: bool | None
    value: Value
    comparison: str = ""
    threshold: Value = None
    unit: str = ""
    signals: tuple[str, ...] = ()

    @property
    def is_near(self) -> bool:
        """It does not hold, and the number is nearly there."""
        value, threshold = self.value, self.threshold
        if self.holds is not False or not isinstance(value, float | int) or not isinstance(threshold, float | int):
            return False
        return self.comparison in ("<", "<=", ">", ">=") and abs(value - threshold) <= NEAR_SHARE * abs(threshold)


@dataclass(frozen=True, slots=True)
class Lack:
    """Why a condition is not known.

    Attributes:
        signal: that cannot be worked out.
        device: whose fault that is; '' where its devices are well and the signal has no value now.
        since_ns: robot time: of the device's last good report, or since when there is no value; None: there never was.
    """

    signal: str
    device: str
    since_ns: int | None


@dataclass(frozen=True, slots=True)
class Awaited:
    """One exit that is waited for.

    Attributes:
        text, where, go: the exit as written, its ``file:line``, and the path of the state it leads to.
        scope: path of the state that it belongs to; '' for the whole behaviour.
        is_silent: an ``always`` exit that does not fire in the present state.
        holds: whether its condition is true now, confirmed or not; None: not known; of a timed exit False until then.
        lacks: why it is not known.
        parts: of its condition, in the order of writing.
        confirmed, needed: of the confirmation so far: samples of samples, or seconds of seconds (``unit`` is ``s``).
        of: so many samples are looked at; 0 where it is a time.
        left_s: until a timed exit is taken; None for a condition.
        is_near: it nearly holds, or holds and is being confirmed.
    """

    text: str
    where: str
    go: str
    scope: str
    is_silent: bool = False
    holds: bool | None = False
    lacks: tuple[Lack, ...] = ()
    parts: tuple[Part, ...] = ()
    confirmed: float = 0.0
    needed: float = 1.0
    of: int = 1
    left_s: float | None = None
    is_near: bool = False


def shown_in(dimension: Dimension) -> str:
    """Return the unit in which a number of a dimension is shown where none is written."""
    return {ANGLE: "deg", TURN_RATE: "deg/s", NONE: ""}.get(dimension, symbol_of(dimension))


def shown(value: Value, unit: str = "") -> str:
    """Return a value in SI units as a person reads it, in a unit: ``23.4 cm``, ``yes``, ``amber``, ``not known``."""
    if value is None or value != value:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    number = float(value) / _factor(unit)
    return f"{number:.4g} {unit}".rstrip()


def _factor(unit: str) -> float:
    try:
        return parse_unit(unit)[1] if unit else 1.0
    except ValueError:
        return 1.0  # a compound of which only the symbol is known is SI


def confirmation_in_words(one: Awaited) -> str:
    """Return how far the confirmation is: ``2 of 3 (in 5)``, ``1.2 of 2 s``; '' where none is asked for."""
    if one.of == 0:
        return f"{one.confirmed:.1f} of {one.needed:g} s"
    if one.of == 1:
        return ""
    return f"{one.confirmed:.0f} of {one.needed:.0f} (among the last {one.of})"


def in_words(one: Awaited, now_ns: int | None = None) -> str:
    """Return an exit and how far it is, in one line; with the robot time, since when something lacks."""
    return f"{one.text}: {'; '.join(_phrases(one, now_ns))}"


def _phrases(one: Awaited, now_ns: int | None) -> Iterator[str]:
    if one.left_s is not None:
        yield f"{max(one.left_s, 0.0):.1f} s left"
    elif one.holds is None:
        yield "not known" + "".join(f", {lack_in_words(lack, now_ns)}" for lack in one.lacks)
    else:
        yield ", ".join(part_in_words(part) for part in one.parts)
    if (confirmation := confirmation_in_words(one)) and one.left_s is None:
        yield f"confirmed {confirmation}"
    if one.is_near:
        yield "nearly"
    if one.is_silent:
        yield "silent here"


def part_in_words(part: Part) -> str:
    """Return one part and its value: ``target.distance 23.4 cm (< 22 cm)``."""
    if not part.comparison:
        return f"{part.text.removeprefix('not ')} is {shown(part.value)}"
    threshold = shown(part.threshold, part.unit)
    limit = "" if threshold in part.text else f", limit {threshold}"
    return f"{part.text} ({shown(part.value, part.unit)}{limit})"


def lack_in_words(lack: Lack, now_ns: int | None = None) -> str:
    """Return for want of what a condition is not known."""
    what = f"for want of {lack.device} ({lack.signal})" if lack.device else f"{lack.signal} has no value now"
    if lack.since_ns is None:
        return f"{what}, never reported" if lack.device else what
    if now_ns is None:
        return what
    return f"{what}, since {max(now_ns - lack.since_ns, 0) * 1e-9:.1f} s"
