"""What a campaign's rows come to: by variant, variant against variant, where it went wrong, and on which seeds."""

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rover.trials.asked import Asked
from rover.trials.ranking import Link, can_tell, rank
from rover.trials.statistics import (
    SIGNIFICANCE,
    Estimate,
    Pairs,
    Quantile,
    holm,
    mcnemar,
    paired_difference,
    pairs_that_would_tell,
    quantile,
    wilson,
)
from rover.trials.trial import Ended, TrialRow, is_honest, why_not

CommandOf = Callable[[TrialRow], str]
WORST = 5
MOST_BINS = 30


@dataclass(frozen=True)
class ErrorFigures:
    """The greater axis errors (m) of all finds whose truth is known, by nearest rank.

    Finds of one trial are not independent of each other, so that no interval is given.

    Attributes:
        number: how many.
        half, most, worst: not exceeded by 50 %, by 95 % and by any.
        bins: how many there are from 0 on, in steps of `bin_m`; the last has all that are greater, too.
    """

    number: int
    half: float
    most: float
    worst: float
    bin_m: float
    bins: tuple[int, ...]


@dataclass(frozen=True)
class ObjectFigures:
    """What became of the objects.

    Attributes:
        counted: that the robot counts as delivered.
        believed: that it set down besides, and nothing could tell.
        known: trials of which somebody knows the truth; in these
        in_tray, of: objects that are truly there, and that there were;
        bumped, bumps: trials in which something that does not give way was run into, and how often in all.
    """

    counted: int
    believed: int
    known: int
    in_tray: int
    of: int
    bumped: int
    bumps: int


@dataclass(frozen=True)
class VariantSummary:
    """What the trials of one variant come to.

    Attributes:
        trials, successes, share: the share is None while there are no trials.
        half_s, most_s: robot time of the successes, not exceeded by 50 % and by 95 % of them.
        stops: trials that ended in a stop.
        errors: trials in which something was raised that nobody foresaw, or by a person's own code.
        drawn: the parameters that were drawn.
        can_tell: whether there are failures and successes enough to see what they go with.
        links: how each drawn parameter goes with failure, the strongest first.
    """

    name: str
    trials: int
    successes: int
    share: Estimate | None
    objects: ObjectFigures
    half_s: Quantile | None
    most_s: Quantile | None
    axis_errors: ErrorFigures | None
    stops: int
    errors: int
    drawn: tuple[str, ...]
    can_tell: bool
    links: tuple[Link, ...]


@dataclass(frozen=True)
class Comparison:
    """A variant held against the first one, on the trials that both have.

    Attributes:
        difference: share of the first's successes less that of the other; None while there are no pairs.
        p: that it is luck, by McNemar's exact test, adjusted for the number of comparisons.
        would_tell: about how many pairs, in all, would tell; None where no number can be named.
    """

    first: str
    other: str
    pairs: Pairs
    difference: Estimate | None = None
    p: float = 1.0
    would_tell: int | None = None

    @property
    def is_real(self) -> bool:
        """Whether the difference is more than luck."""
        return self.p <= SIGNIFICANCE


@dataclass(frozen=True)
class FailureKind:
    """Trials of a variant that failed alike, at the same place; ``why`` and ``seed`` are those of the first one."""

    variant: str
    why: str
    ended: Ended
    count: int
    seed: int
    command: str


@dataclass(frozen=True)
class Shown:
    """A trial that is worth a look: what it came to, in words, and the command that shows it."""

    variant: str
    seed: int
    what: str
    command: str


@dataclass(frozen=True)
class RaisedError:
    """What was raised in some trials, unforeseen or by a person's own code; ``command`` shows the first of them."""

    variant: str
    last_line: str
    traceback: str
    seeds: tuple[int, ...]
    command: str


@dataclass(frozen=True)
class Summary:
    """What a campaign comes to, so far."""

    asked: Asked
    variants: tuple[VariantSummary, ...]
    comparisons: tuple[Comparison, ...]
    failures: tuple[FailureKind, ...]
    worst: tuple[Shown, ...]
    raised: tuple[RaisedError, ...]


def summarise(rows: Iterable[TrialRow], asked: Asked, command_of: CommandOf) -> Summary:
    """Return what the rows come to; ``command_of`` gives the command that shows a row's trial."""
    by_variant: dict[str, list[TrialRow]] = {name: [] for name in asked.variants}
    for row in rows:
        by_variant.setdefault(row.variant, []).append(row)
    all_rows = [row for rows_of_one in by_variant.values() for row in rows_of_one]
    return Summary(
        asked,
        tuple(_variant(name, rows_of_one, asked.units) for name, rows_of_one in by_variant.items()),
        tuple(_compared(list(by_variant.items()))),
        tuple(_failure_kinds(all_rows, command_of)),
        tuple(_worst(all_rows, command_of)),
        tuple(_raised(all_rows, command_of)),
    )


def _variant(name: str, rows: Sequence[TrialRow], units: Mapping[str, str]) -> VariantSummary:
    successes = [row for row in rows if row.is_success]
    times = [row.robot_time_s for row in successes]
    return VariantSummary(
        name=name,
        trials=len(rows),
        successes=len(successes),
        share=wilson(len(successes), len(rows)) if rows else None,
        objects=_objects(rows),
        half_s=quantile(times, 0.5) if times else None,
        most_s=quantile(times, 0.95) if times else None,
        axis_errors=_error_figures([error for row in rows for error in row.axis_errors_m]),
        stops=sum(row.result == "stopped" for row in rows),
        errors=sum(_has_raised(row) for row in rows),
        drawn=tuple(sorted({parameter for row in rows for parameter in row.drawn})),
        can_tell=can_tell(rows),
        links=tuple(rank(rows, units)),
    )


def _objects(rows: Sequence[TrialRow]) -> ObjectFigures:
    truths = [row.truth for row in rows if row.truth is not None]
    return ObjectFigures(
        counted=sum(row.counted for row in rows),
        believed=sum(row.believed for row in rows),
        known=len(truths),
        in_tray=sum(truth.delivered for truth in truths),
        of=sum(truth.objects for truth in truths),
        bumped=sum(truth.bumps > 0 for truth in truths),
        bumps=sum(truth.bumps for truth in truths),
    )


def _has_raised(row: TrialRow) -> bool:
    return row.result == "error" or bool(row.error)


def _error_figures(errors: Sequence[float]) -> ErrorFigures | None:
    known = [error for error in errors if math.isfinite(error)]
    if not known:
        return None
    most, worst = quantile(known, 0.95).value, max(known)
    width = _round_step(most / 12.0)
    bins = [0] * min(int(worst / width) + 1, MOST_BINS)
    for error in known:
        bins[min(int(error / width), len(bins) - 1)] += 1
    return ErrorFigures(len(known), quantile(known, 0.5).value, most, worst, width, tuple(bins))


def _round_step(least: float) -> float:
    """Return the next of 1, 2, 5, 10, ... mm that is no smaller."""
    steps = (step * 10.0**power for power in range(-3, 6) for step in (1.0, 2.0, 5.0))
    return next(step for step in steps if step >= min(least, 1000.0))


def _compared(variants: Sequence[tuple[str, Sequence[TrialRow]]]) -> Iterator[Comparison]:
    """Yield each variant but the first, held against it."""
    first, first_rows = variants[0]
    paired = [(name, pairs_of(first_rows, rows)) for name, rows in variants[1:]]
    for (name, pairs), p in zip(paired, holm([mcnemar(pairs) for _, pairs in paired]), strict=True):
        if pairs.number == 0:
            yield Comparison(first, name, pairs)
        else:
            yield Comparison(first, name, pairs, paired_difference(pairs), p, pairs_that_would_tell(pairs))


def pairs_of(first: Iterable[TrialRow], second: Iterable[TrialRow]) -> Pairs:
    """Return how often two variants succeeded, of the trials (number and seed) that both have."""
    succeeded = {(row.number, row.seed): row.is_success for row in second}
    outcomes = [
        (row.is_success, succeeded[row.number, row.seed]) for row in first if (row.number, row.seed) in succeeded
    ]
    return Pairs(*(outcomes.count(outcome) for outcome in ((True, True), (True, False), (False, True), (False, False))))


def _failure_kinds(rows: Iterable[TrialRow], command_of: CommandOf) -> list[FailureKind]:
    """Return the failures by what they have in common, those of each variant together, the most frequent first."""
    alike: dict[Kind, list[TrialRow]] = {}
    for row in rows:
        if not row.is_success:
            alike.setdefault(_kind(row), []).append(row)
    order = list(dict.fromkeys(variant for variant, _, _ in alike))
    kinds = [
        FailureKind(variant, why_not(failed[0]), ended, len(failed), failed[0].seed, command_of(failed[0]))
        for (variant, _, ended), failed in alike.items()
    ]
    return sorted(kinds, key=lambda kind: (order.index(kind.variant), -kind.count, kind.seed))


Kind = tuple[str, str, Ended]


def _kind(row: TrialRow) -> Kind:
    """Return what a row has in common with others that ended alike."""
    return row.variant, _without_figures(why_not(row)), row.ended


def _without_figures(text: str) -> str:
    """Return a text in which figures stand as signs, so that what differs by them alone is alike."""
    return re.sub(r"\d+(\.\d+)?", "#", text)


def _worst(rows: Iterable[TrialRow], command_of: CommandOf) -> list[Shown]:
    """Return the trials to look at first: the worst of each kind, the worst kind first, then others; no errors."""
    ordered = sorted((row for row in rows if row.result != "error"), key=_badness, reverse=True)
    first_of_kind = {_kind(row)[1:]: row for row in reversed(ordered)}
    others = [row for row in ordered if first_of_kind[_kind(row)[1:]] is not row]
    chosen = [*sorted(first_of_kind.values(), key=_badness, reverse=True), *others][:WORST]
    return [Shown(row.variant, row.seed, "; ".join(_remarks(row)), command_of(row)) for row in chosen]


def _badness(row: TrialRow) -> tuple[float, ...]:
    """Return how bad a trial is: lie, stop, failure, success; then by what is missing, bumps, axis error, time."""
    grade = 3 * _has_lied(row) or 2 * (row.result == "stopped") or 1 * (not row.is_success)
    return grade, _missing(row), _bumps(row), max(row.axis_errors_m, default=0.0), row.robot_time_s


def _has_lied(row: TrialRow) -> bool:
    return row.truth is not None and not is_honest(row.counted, row.truth)


def _bumps(row: TrialRow) -> int:
    return 0 if row.truth is None else int(row.truth.bumps)


def _missing(row: TrialRow) -> int:
    return 0 if row.truth is None else row.truth.objects - row.truth.delivered


def _remarks(row: TrialRow) -> Iterator[str]:
    yield why_not(row) or "success"
    if _missing(row) and row.truth is not None:
        believed = f", {row.believed} believed" if row.believed else ""
        yield f"{row.truth.delivered} of {row.truth.objects} in the tray, {row.counted} counted{believed}"
    if row.truth is not None and row.truth.empty_deliveries:
        yield f"deliveries of nothing: {row.truth.empty_deliveries}"
    if _bumps(row):
        yield f"{_bumps(row)} bump{'s' if _bumps(row) > 1 else ''}"
    if row.axis_errors_m:
        yield f"axis errors up to {1000 * max(row.axis_errors_m):.0f} mm"
    yield f"{row.robot_time_s:.0f} s"


def _raised(rows: Iterable[TrialRow], command_of: CommandOf) -> list[RaisedError]:
    """Return what was raised, alike ones together, the most frequent first."""
    alike: dict[tuple[str, str], list[TrialRow]] = {}
    for row in rows:
        if _has_raised(row):
            alike.setdefault((row.variant, _without_figures(row.error or row.reason)), []).append(row)
    errors = [
        RaisedError(
            variant=variant,
            last_line=(of_kind[0].error or of_kind[0].reason).strip().rpartition("\n")[2],
            traceback=of_kind[0].error,
            seeds=tuple(row.seed for row in of_kind),
            command=command_of(of_kind[0]),
        )
        for (variant, _), of_kind in alike.items()
    ]
    return sorted(errors, key=lambda error: -len(error.seeds))
