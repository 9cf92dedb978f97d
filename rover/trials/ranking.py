"""Which drawn parameter the failures go with: what to mend on a robot first.

Parameters are drawn independently of each other, so that each can be looked at alone.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from rover.trials.statistics import SIGNIFICANCE, Estimate, holm, order, wilson
from rover.trials.trial import TrialRow

FEWEST = 5
"""Failures, and successes, below which nothing is told: five are as few as the intervals were tried with."""


@dataclass(frozen=True)
class Group:
    """Trials that are alike in a parameter.

    Attributes:
        what: which they are, in words, as in ``0.12 or more``.
        failures, trials: how many.
        share: that failed.
    """

    what: str
    failures: int
    trials: int
    share: Estimate


@dataclass(frozen=True)
class Link:
    """How a parameter goes with failure.

    Attributes:
        parameter: its key.
        where: it fails more: ``high``, ``low``, ``far from its middle``, ``near its middle``, ``WORD`` or ``not WORD``.
        chance: that this holds more for a failed trial than for a successful one, 0.5 to 1.
        p: that this is luck, adjusted for all that was looked at.
        worse, better: the trials where it does and where it does not.
    """

    parameter: str
    where: str
    chance: Estimate
    p: float
    worse: Group
    better: Group

    @property
    def is_shown(self) -> bool:
        """Whether it is more than luck."""
        return self.p <= SIGNIFICANCE


def rank(trials: Sequence[TrialRow], units: Mapping[str, str]) -> list[Link]:
    """Return how each parameter goes with failure, the strongest first and what is shown before what may be luck.

    The list is empty where nothing was drawn or nothing can be told: too few trials failed, or too few succeeded. A
    number is looked at as it is and by its distance from the middle (a bias may harm whatever its sign), a word against
    all others; of each parameter that look is returned which is least likely to be luck. A parameter that only some
    trials have is looked at among these. ``units`` are of the numbers, by parameter, where they have any.
    """
    parameters = sorted({parameter for trial in trials for parameter in trial.drawn})
    looks = [look for parameter in parameters for look in _looks(parameter, trials, units.get(parameter, ""))]
    links = [replace(link, p=p) for link, p in zip(looks, holm([link.p for link in looks]), strict=True)]
    least = [min((one for one in links if one.parameter == name), key=_by_luck) for name in _names(links)]
    return sorted(least, key=lambda link: (not link.is_shown, -link.chance.value))


def can_tell(trials: Sequence[TrialRow]) -> bool:
    """Whether there are enough failures and successes."""
    failures = sum(not trial.is_success for trial in trials)
    return min(failures, len(trials) - failures) >= FEWEST


def _names(links: Sequence[Link]) -> list[str]:
    return list(dict.fromkeys(link.parameter for link in links))


def _by_luck(link: Link) -> tuple[float, float]:
    return link.p, -link.chance.value


def _looks(parameter: str, trials: Sequence[TrialRow], unit: str) -> Iterator[Link]:
    """Yield how a parameter goes with failure, in each way that it is looked at; p is not adjusted yet."""
    having = [trial for trial in trials if parameter in trial.drawn]
    values = [trial.drawn[parameter] for trial in having]
    failed = [not trial.is_success for trial in having]
    if len(set(values)) < 2 or not can_tell(having):
        return
    numbers = [value for value in values if not isinstance(value, str)]
    if len(numbers) == len(values):
        yield from _looks_at_numbers(parameter, numbers, failed, f" {unit}" if unit else "")
    else:
        yield from _looks_at_words(parameter, [str(value) for value in values], failed)


def _looks_at_numbers(parameter: str, numbers: Sequence[float], failed: Sequence[bool], unit: str) -> Iterator[Link]:
    low, high = _edges(numbers)
    parts = _parts((low, f"{low:.3g}{unit} or less"), (high, f"{high:.3g}{unit} or more"))
    yield _link(parameter, ("low", "high"), numbers, failed, parts)
    if len(set(numbers)) > 2:
        middle = sorted(numbers)[len(numbers) // 2]
        distances = [abs(number - middle) for number in numbers]
        near, far = _edges(distances)
        apart = f"away from {middle:.3g}{unit}"
        parts = _parts((near, f"{near:.3g}{unit} or less {apart}"), (far, f"{far:.3g}{unit} or more {apart}"))
        yield _link(parameter, ("near its middle", "far from its middle"), distances, failed, parts)


Part = tuple[str, Callable[[float], bool]]
"""Some of the trials: which they are, in words, and whether one with this value is among them."""


def _parts(least: tuple[float, str], most: tuple[float, str]) -> tuple[Part, Part]:
    (low, low_words), (high, high_words) = least, most
    return (low_words, lambda number: number <= low), (high_words, lambda number: number >= high)


def _edges(numbers: Sequence[float]) -> tuple[float, float]:
    """Return the greatest of the lower third and the least of the upper one; where these are equal, the next number."""
    ordered = sorted(numbers)
    third = math.ceil(len(ordered) / 3)
    low, high = ordered[third - 1], ordered[-third]
    if low < high:
        return low, high
    above = [number for number in ordered if number > low]
    return (low, above[0]) if above else (max(number for number in ordered if number < low), low)


def _looks_at_words(parameter: str, words: Sequence[str], failed: Sequence[bool]) -> Iterator[Link]:
    """Yield a look at each word against all others; of two words one look tells all."""
    different = sorted(set(words))
    for word in different if len(different) > 2 else different[:1]:
        is_word = [float(one == word) for one in words]
        not_word, others = (f"not {word}", "anything else") if len(different) > 2 else (different[1], different[1])
        parts: tuple[Part, Part] = ((others, lambda one: one == 0.0), (word, lambda one: one == 1.0))
        yield _link(parameter, (not_word, word), is_word, failed, parts)


def _link(
    parameter: str,
    wheres: tuple[str, str],
    values: Sequence[float],
    failed: Sequence[bool],
    parts: tuple[Part, Part],
) -> Link:
    """Return how values go with failure; ``wheres`` and ``parts`` are of small values and of great ones."""
    bad = [value for value, has_failed in zip(values, failed, strict=True) if has_failed]
    good = [value for value, has_failed in zip(values, failed, strict=True) if not has_failed]
    found = order(bad, good)
    chance, worse = found.chance, 1
    if chance.value < 0.5:
        chance, worse = Estimate(1.0 - chance.value, 1.0 - chance.high, 1.0 - chance.low), 0
    groups = [_group(what, holds, values, failed) for what, holds in parts]
    return Link(parameter, wheres[worse], chance, found.p, groups[worse], groups[1 - worse])


def _group(what: str, holds: Callable[[float], bool], values: Sequence[float], failed: Sequence[bool]) -> Group:
    within = [has_failed for value, has_failed in zip(values, failed, strict=True) if holds(value)]
    return Group(what, sum(within), len(within), wilson(sum(within), len(within)))
