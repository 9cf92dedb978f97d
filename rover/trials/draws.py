"""What each trial is given: seeds one after the other, values drawn as a ranges file says."""

from collections.abc import Iterator, Sequence
from random import Random
from typing import Any, NamedTuple

from rover.errors import UserError, to_install
from rover.files.ranges import RangesFile


class Drawn(NamedTuple):
    """What is drawn for one trial: values as a file has them, and as numbers or words, by key."""

    values: dict[str, Any]
    numbers: dict[str, float | str]


def draws(ranges: RangesFile | None, count: int, first_seed: int) -> Iterator[Drawn]:
    """Yield what is drawn for each of ``count`` trials; one first seed gives the same draws again.

    Raises:
        UserError: the sampling needs a package that is not installed.
    """
    if ranges is None:
        yield from (Drawn({}, {}) for _ in range(count))
        return
    for shares in _shares(ranges, count, first_seed):
        drawn = {key: spread.at(share) for (key, spread), share in zip(ranges.draw.items(), shares, strict=True)}
        yield Drawn(
            {key: value for key, (_, value) in drawn.items()}, {key: number for key, (number, _) in drawn.items()}
        )


def _shares(ranges: RangesFile, count: int, first_seed: int) -> Iterator[Sequence[float]]:
    """Yield for each trial a number from 0 to 1 for each key."""
    if ranges.sampling == "random":
        for number in range(count):
            yield [Random(f"{first_seed + number}/{key}").random() for key in ranges.draw]
        return
    try:
        from scipy.stats.qmc import LatinHypercube
    except ImportError as error:
        raise UserError(
            f"a Latin hypercube needs the package 'scipy': {to_install('trials')}, or write "
            "'sampling: random' in the ranges file"
        ) from error
    yield from LatinHypercube(len(ranges.draw), rng=first_seed).random(count).tolist()
