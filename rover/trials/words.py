"""A campaign's summary in words and aligned tables, for the terminal; and as plain values, for ``--json``."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from itertools import groupby
from typing import Any

from rover.trials.ranking import FEWEST, Link
from rover.trials.statistics import SIGNIFICANCE, Estimate, Pairs, Quantile
from rover.trials.summary import Comparison, FailureKind, Summary, VariantSummary

MOST_ROWS = 12
"""Kinds of failure that the terminal shows; all are in the page and in JSON."""
MOST_LINKS = 5
SIDE_BY_SIDE = 3
LONGEST = 60
UNKNOWN = "-"
VISIBLE = 0.05
"""Share of the trials up to which a safeguard that is left out is taken to cost nothing that anybody would see."""


def lines(summary: Summary) -> Iterator[str]:
    """Yield the whole summary, line by line."""
    yield f"{summary.asked.title}: {progress(summary)}"
    yield ""
    yield from _figure_tables(summary)
    for title, section in _sections(summary):
        if section:
            yield from ("", title, *section)


def _sections(summary: Summary) -> list[tuple[str, list[str]]]:
    return [
        ("Side by side, on the same trials:", [compared(one, summary) for one in summary.comparisons]),
        ("Where it went wrong:", list(_failures(summary))),
        ("What the failures go with:", list(_linked_of_all(summary))),
        ("What was raised:", list(_raised(summary))),
        ("The trials to look at first:", list(_worst(summary))),
    ]


def progress(summary: Summary) -> str:
    """Return ``1000 trials``, or ``612 of 1000 trials so far`` of a campaign that was interrupted."""
    done, due = sum(one.trials for one in summary.variants), summary.asked.count * len(summary.variants)
    return f"{done} trials" if done == due else f"{done} of {due} trials so far"


def _figure_tables(summary: Summary) -> Iterator[str]:
    """Yield the variants' figures, so many variants beside each other as a terminal has room for."""
    rows = figures(summary)
    names = [called(one.name) for one in summary.variants]
    for first in range(0, len(names), SIDE_BY_SIDE):
        if first > 0:
            yield ""
        beside = slice(first, first + SIDE_BY_SIDE)
        yield from aligned(["", *names[beside]], [[row[0], *row[1:][beside]] for row in rows])


def called(variant: str) -> str:
    """Return the name of a variant, for people."""
    return variant or "as it is"


def which(variant: str, summary: Summary) -> str:
    """Return the beginning of a line on a variant, where there are several."""
    return f"{called(variant)}, " if len(summary.variants) > 1 else ""


def figures(summary: Summary) -> list[list[str]]:
    """Return the table of the variants' figures: a row for each figure, beginning with its name."""
    columns = [_figures(one) for one in summary.variants]
    return [[name, *(column[name] for column in columns)] for name in columns[0]]


def _figures(one: VariantSummary) -> dict[str, str]:
    objects, errors = one.objects, one.axis_errors
    off = (
        UNKNOWN
        if errors is None
        else f"{1000 * errors.half:.0f}, {1000 * errors.most:.0f}, {1000 * errors.worst:.0f} mm"
    )
    return {
        "trials": str(one.trials),
        "successes": str(one.successes),
        "share, 95 % interval": UNKNOWN if one.share is None else with_interval(one.share),
        "objects in the tray": f"{objects.in_tray} of {objects.of}" if objects.known else UNKNOWN,
        "objects counted": str(objects.counted) + (f", {objects.believed} more believed" if objects.believed else ""),
        "time of successes, median": _seconds(one.half_s),
        "time of successes, 95 %": _seconds(one.most_s),
        "axis errors, 50 %, 95 %, worst": off,
        "bumps": f"{objects.bumps} in {objects.bumped} trials" if objects.known else UNKNOWN,
        "stops": str(one.stops),
        "errors": str(one.errors),
    }


def _seconds(time: Quantile | None) -> str:
    """Return a time with as much of its interval as is known."""
    if time is None:
        return UNKNOWN
    match time.low, time.high:
        case None, None:
            interval = ""
        case low, None:
            interval = f" ({low:.0f} s or more)"
        case None, high:
            interval = f" (up to {high:.0f} s)"
        case low, high:
            interval = f" ({low:.0f} to {high:.0f} s)"
    return f"{time.value:.0f} s{interval}"


def percent(share: float) -> str:
    """Return a share in percent without the sign: 5.5, 41, 96.2, 100."""
    return _percents([share])[0]


def with_interval(share: Estimate) -> str:
    """Return ``41 % (35 to 47 %)``."""
    value, low, high = _percents(share)
    return f"{value} % ({low} to {high} %)"


def _percents(shares: Iterable[float]) -> list[str]:
    """Return shares in percent, all with as many digits as the one that needs most."""
    exact = [100.0 * share for share in shares]
    digits = 0 if all(10.0 <= abs(one) <= 90.0 or one in (0.0, 100.0) for one in exact) else 1
    return [f"{one:.0f}" if one in (0.0, 100.0) else f"{one:z.{digits}f}" for one in exact]


def chance_words(p: float) -> str:
    """Return ``p = 0.012``; near 5 %, where it decides, with a digit more."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.{3 if round(p, 2) == round(SIGNIFICANCE, 2) else 2}g}"


def compared(one: Comparison, summary: Summary) -> str:
    """Return what came of holding a variant against the first, as a sentence."""
    if one.difference is None:
        return f"{called(one.other)}: no trial was run with this and with {called(one.first)} yet"
    if summary.asked.compares == "safeguards":
        return _safeguard(one, one.difference)
    counts = f"{called(one.first)} {_first(one.pairs)}, {called(one.other)} {_second(one.pairs)}"
    if not one.is_real:
        return f"{counts}: no difference shown ({chance_words(one.p)}); {more_trials(one)}"
    better, share = (one.first, one.difference) if one.difference.value > 0 else (one.other, _turned(one.difference))
    return (
        f"{counts}: the difference is real ({chance_words(one.p)}); {called(better)} succeeds in "
        f"{with_interval(share)} more of the trials"
    )


def _safeguard(one: Comparison, difference: Estimate) -> str:
    """Return what a safeguard costs when it is left out, in ``one.other``."""
    counts = f"{one.other}: {_second(one.pairs)}, with it {_first(one.pairs)}"
    luck = chance_words(one.p)
    if one.is_real and difference.value > 0:
        return f"{counts}; costs successes in {with_interval(difference)} of the trials ({luck})"
    if one.is_real:
        return f"{counts}; better without it, by {with_interval(_turned(difference))} of the trials ({luck})"
    at_most = f"at most {percent(max(difference.high, 0.0))} % of the trials"
    if difference.high <= VISIBLE:
        return f"{counts}; no cost shown ({luck}), {at_most}: the bench is too kind for it here"
    return f"{counts}; no cost shown ({luck}), but {at_most} may be lost: the trials are too few; {more_trials(one)}"


def _turned(estimate: Estimate) -> Estimate:
    return Estimate(-estimate.value, -estimate.high, -estimate.low)


def _first(pairs: Pairs) -> str:
    return f"{pairs.first} of {pairs.number}"


def _second(pairs: Pairs) -> str:
    return f"{pairs.second} of {pairs.number}"


def more_trials(one: Comparison) -> str:
    """Return how many more trials would tell, in words."""
    if one.would_tell is None:
        return "as many one way as the other, so that no number of trials can be named that would tell"
    return f"about {_rounded_up(max(one.would_tell - one.pairs.number, 1))} more trials of each would tell"


def _rounded_up(number: int) -> int:
    """Return the next number with two figures other than 0: nobody knows it better."""
    unit: int = 10 ** max(len(str(number)) - 2, 0)
    return -(-number // unit) * unit


FAILURE_HEADS = ("variant", "+trials", "why", "in state", "by exit", "devices not ok", "+seed")


def failure_cells(failures: Iterable[FailureKind]) -> list[list[str]]:
    """Return a row for each kind of failure, under `FAILURE_HEADS`."""
    return [
        [called(one.variant), str(one.count), one.why, *(part or UNKNOWN for part in one.ended), str(one.seed)]
        for one in failures
    ]


def _failures(summary: Summary) -> Iterator[str]:
    most = max(MOST_ROWS // len(summary.variants), 3)
    shown = [one for _, kinds in groupby(summary.failures, lambda one: one.variant) for one in list(kinds)[:most]]
    if shown:
        rows = [[_shortened(cell) for cell in row] for row in failure_cells(shown)]
        yield from aligned(*without_empty(FAILURE_HEADS, rows))
    if others := len(summary.failures) - len(shown):
        rest = sum(one.count for one in summary.failures) - sum(one.count for one in shown)
        yield f"... and {_some(rest, 'more trial')} of {_some(others, 'further kind')}, in the page and with --json"


def without_empty(heads: Sequence[str], rows: Sequence[list[str]]) -> tuple[list[str], list[list[str]]]:
    """Return the table without columns that say nothing: all unknown, or the one variant's name."""
    nothing = {UNKNOWN, called("")}
    kept = [place for place in range(len(heads)) if {row[place] for row in rows} - nothing]
    return [heads[place] for place in kept], [[row[place] for place in kept] for row in rows]


def _linked_of_all(summary: Summary) -> Iterator[str]:
    """Yield what failures go with: of each errand, but of the first alone of what differs in one thing only."""
    told = summary.variants if summary.asked.compares == "errands" else summary.variants[:1]
    for one in told:
        yield from (f"{which(one.name, summary)}{line}" for line in linked_lines(one))
    if any(one.drawn and one.can_tell for one in summary.variants[len(told) :]):
        yield "of the others: in the page and with --json"


def linked_lines(one: VariantSummary) -> Iterator[str]:
    """Yield what a variant's failures go with; nothing where nothing was drawn or nothing failed."""
    failures = one.trials - one.successes
    if not one.drawn or not failures:
        return
    if not one.can_tell:
        least = f"{FEWEST} failures and {FEWEST} successes are the least"
        yield f"too few to tell: {_some(failures, 'failure')} in {_some(one.trials, 'trial')} ({least})"
        return
    shown = [link for link in one.links if link.is_shown]
    for number, link in enumerate(shown[:MOST_LINKS]):
        yield f"{'mend this first: ' if number == 0 else ''}{linked(link)}"
    if not shown:
        yield f"nothing that was drawn; {_least_lucky(one.links)}"
    elif unshown := [link.parameter for link in one.links if not link.is_shown]:
        yield f"not shown for {', '.join(sorted(unshown))}"


def _least_lucky(links: Sequence[Link]) -> str:
    if not links:
        return "no value differs between trials"
    link = min(links, key=lambda one: one.p)
    return f"the nearest to it is {link.parameter}, where {link.where} ({chance_words(link.p)})"


def linked(link: Link) -> str:
    """Return how a parameter goes with failure, as a sentence."""
    worse, better = (f"{with_interval(group.share)} of those with {group.what}" for group in (link.worse, link.better))
    return f"fails more where {link.parameter} is {link.where}: {worse}, {better} ({chance_words(link.p)})"


def _raised(summary: Summary) -> Iterator[str]:
    for one in summary.raised:
        seeds = ", ".join(map(str, one.seeds[:5])) + (", ..." if len(one.seeds) > 5 else "")
        yield f"{which(one.variant, summary)}{_some(len(one.seeds), 'trial')} (seed {seeds}): {one.last_line}"
        yield f"    {one.command}"


def _worst(summary: Summary) -> Iterator[str]:
    for one in summary.worst:
        yield f"{which(one.variant, summary)}seed {one.seed}: {one.what}"
        yield f"    {one.command}"


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def _some(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def aligned(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Yield a table with its columns aligned; those whose heading begins with '+' have figures, set to the right."""
    texts = [[head.removeprefix("+") for head in heads], *rows]
    widths = [max(len(row[place]) for row in texts) for place in range(len(heads))]
    for row in texts:
        cells = [
            f"{text:>{width}}" if head.startswith("+") else f"{text:<{width}}"
            for head, text, width in zip(heads, row, widths, strict=True)
        ]
        yield "  ".join(cells).rstrip()


def plain(value: object) -> Any:
    """Return a summary as what JSON has: blocks, lists, texts, numbers; null where there is no number."""
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return plain(value._asdict())
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
