"""Rules on what the record says in words: makers of looks that find mentions by kind and pattern."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from rover.diagnosis.evidence import AT_START_S, DOUBT, HEALTH, STOP, Evidence, Mention, seconds_of
from rover.diagnosis.finding import Gravity, Suspicion
from rover.diagnosis.recorded_files import devices_on_links
from rover.diagnosis.words import times

Look = Callable[[Evidence], Iterator[Suspicion]]
LOST_SHARE, LOST_S = 0.05, 3.0
"""A device that was silent for so large a share of the run, or for so long (s) at once, is worth a sentence."""


def said(
    kinds: Sequence[str],
    pattern: str,
    whom: str,
    *,
    least: int = 1,
    least_s: float = 0.0,
    gravity: Gravity = Gravity.SLOWER,
) -> Look:
    """Return the look that finds mentions of some kinds whose text a pattern is found in.

    Those that suspect one and the same make one suspicion. What ended the run has that for its gravity.

    Args:
        kinds: of the mentions.
        pattern: a regular expression.
        whom: whom they suspect; ``{1}`` stands for the pattern's first group.
        least: so many mentions are needed...
        least_s: ... lasting so long in all (s).
        gravity: what they cost.
    """
    compiled = re.compile(pattern)

    def look(evidence: Evidence) -> Iterator[Suspicion]:
        by_whom: dict[str, list[Mention]] = {}
        for mention in evidence.mentions:
            if mention.kind in kinds and (found := compiled.search(mention.text)):
                named = whom.format("", *(group or "" for group in found.groups()))
                by_whom.setdefault(named.replace("_", " "), []).append(mention)
        for named, mentions in by_whom.items():
            if len(mentions) >= least and seconds_of(mentions) >= least_s:
                yield _suspicion(named, mentions, gravity)

    return look


def _suspicion(whom: str, mentions: Sequence[Mention], gravity: Gravity) -> Suspicion:
    first, lasted = mentions[0], seconds_of(mentions)
    ended = any(one.kind == STOP for one in mentions)
    text = first.text.partition("\n")[0] + _how_much(mentions)
    return Suspicion(whom, text, first.at, Gravity.ENDED if ended else gravity, lasted)


def _how_much(mentions: Sequence[Mention]) -> str:
    """Return how often and for how long something was, in brackets."""
    lasted, many = seconds_of(mentions), len(mentions) > 1
    spent = f"{lasted:.1f} s{' in all' if many else ''}" if lasted >= 0.05 else ""
    more = ", ".join(part for part in (times(len(mentions)) if many else "", spent) if part)
    return f" ({more})" if more else ""


def lost_devices(evidence: Evidence) -> Iterator[Suspicion]:
    """Find devices that were silent or faulty for long, and links whose devices were so together."""
    spells: dict[str, list[Mention]] = {}
    for mention in evidence.mentions:
        is_at_start = evidence.seconds_at(mention.at.at_ns) + mention.seconds < AT_START_S
        if mention.kind == HEALTH and not is_at_start:
            spells.setdefault(mention.text.partition(" ")[0], []).append(mention)
    lost = {device: mentions for device, mentions in spells.items() if _is_lost(mentions, evidence.lasts_s)}
    for link, devices in devices_on_links(evidence.run).items():
        first = next((device for device in devices if device in lost), "")
        along = [one for one in devices if first and one != first and _are_together(spells.get(one, ()), lost[first])]
        if along:
            told = f"{' and '.join([first, *along])} were silent together{_how_much(lost[first])}"
            yield replace(_suspicion(f"link {link}", lost[first], Gravity.LACKED), said=told)
            lost = {device: mentions for device, mentions in lost.items() if device not in (first, *along)}
    for device, mentions in lost.items():
        longest = max(mentions, key=lambda one: one.seconds)
        others = [one for one in mentions if one is not longest]
        yield _suspicion(device.replace("_", " "), [longest, *others], Gravity.LACKED)


def _is_lost(mentions: Sequence[Mention], lasts_s: float) -> bool:
    return max(one.seconds for one in mentions) > LOST_S or seconds_of(mentions) > LOST_SHARE * lasts_s


def _are_together(some: Sequence[Mention], others: Sequence[Mention]) -> bool:
    """Tell whether there are some spells, and most of them overlap with one of the others."""
    return len(some) > 0 and sum(any(_overlap(one, other) for other in others) for one in some) > 0.5 * len(some)


def _overlap(one: Mention, other: Mention) -> bool:
    first, second = sorted((one, other), key=lambda mention: mention.at.at_ns)
    return second.at.at_ns <= first.at.at_ns + first.seconds * 1e9


def doubted(evidence: Evidence) -> Iterator[Suspicion]:
    """Find devices that other sensors have shown to lie; counts of one side have a rule of their own."""
    for mention in evidence.mentions:
        if mention.kind == DOUBT and not mention.text.startswith("counts: the "):
            device, _, why = mention.text.partition(": ")
            yield Suspicion(device.replace("_", " "), why, mention.at, Gravity.LACKED, mention.seconds)
