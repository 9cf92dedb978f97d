"""Why a run went as it did, in a few sentences: how it ended, what is not in, what cost time, what troubled it."""

from collections.abc import Iterator, Mapping

from rover.diagnosis.entry import Entry
from rover.diagnosis.evidence import Evidence
from rover.diagnosis.recorded_files import fetched, file_of
from rover.diagnosis.rules import found_in
from rover.diagnosis.spent import spent_held_back, spent_in_states
from rover.diagnosis.words import at_place, counted, duration, item, more_on, paragraph, place, saw, seconds, times
from rover.events import StateChange, Stop
from rover.record.fates import Fates
from rover.record.run import RecordedRun, is_cut_off

MOST_STATES = 4
"""So many states are told that cost most time."""
LEAST_SHARE = 0.03
"""What took a smaller share of the run is not told."""


def answer(evidence: Evidence) -> Iterator[str]:
    """Yield the lines of the answer."""
    yield from _headline(evidence.run)
    yield ""
    yield from _ending(evidence)
    yield from _not_in(evidence)
    yield from _time(evidence)
    yield from _trouble(evidence)


def _headline(run: RecordedRun) -> Iterator[str]:
    title = run.header.get("title") or "A run without a title"
    lasted = duration((run.ended_ns - run.started_ns) * 1e-9)
    outcome = run.outcome
    if outcome is None or is_cut_off(run):
        yield paragraph(f"{title}: the record ends after {lasted}, before the run did.")
        return
    reason = f" ({outcome.reason})" if outcome.reason else ""
    yield paragraph(f"{title}: {outcome.result}{reason} after {lasted}{_brought(outcome.summary)}.")


def _brought(summary: Mapping[str, object]) -> str:
    """Return how many objects were delivered, of how many; '' where there were none to deliver."""
    delivered, expected = summary.get("delivered"), summary.get("expected")
    if not (delivered or expected):
        return ""
    return f", {delivered} delivered" if expected is None else f", {delivered} of {expected} delivered"


def _ending(evidence: Evidence) -> Iterator[str]:
    run = evidence.run
    yield "What ended it"
    stops = [one for one in evidence.entries if isinstance(one.event, Stop)]
    if run.outcome is None or is_cut_off(run):
        yield from _cut_off(evidence)
    elif stops and run.outcome.result == "stopped":
        stop = stops[-1].event
        assert isinstance(stop, Stop)
        within = evidence.visit_at(stops[-1])
        where = f", in '{within.state}'" if within else ""
        yield item(f"A stop latched{where}: {stop.cause} {place(stops[-1], run)}.")
    elif not evidence.ending:
        yield item(f"{run.outcome.reason or 'Nothing in the record says so'}.")
    is_done = run.outcome is not None and run.outcome.result == "done"
    for happening in evidence.ending[-1 if is_done else 0 :]:  # what went before the end of what went well is no answer
        yield item(f"{change_in_words(happening)} {place(happening, run)}.")


def _cut_off(evidence: Evidence) -> Iterator[str]:
    last = f" in '{evidence.visits[-1].state}'" if evidence.visits else ""
    until = seconds(evidence.run.ended_ns, evidence.run)
    yield item(
        f"Nothing that is recorded: its last entry is of {until}{last}. Power, the process or the disk was gone."
    )


def change_in_words(happening: Entry) -> str:
    """Return a change of state as a sentence without its full stop."""
    change = happening.event
    assert isinstance(change, StateChange)
    if not change.left:
        return f"It began in '{change.entered}'"
    where = f"{change.where}{saw(change)}"
    return f"'{change.left}' was left for '{change.entered}' by '{change.exit}' ({where}){more_on(change)}"


def _not_in(evidence: Evidence) -> Iterator[str]:
    """Yield which objects are not in, and why; and which are only believed to be."""
    run, fates = evidence.run, Fates()
    for entry in evidence.entries:
        fates.take(entry.event)
    summary = {} if run.outcome is None else run.outcome.summary
    left = summary.get("left")
    if "left" in summary and left is None:
        return  # nothing was to be brought
    missing = fates.not_in(fetched(run), left if isinstance(left, int) else None)
    unknown = left - len(missing) if isinstance(left, int) else 0
    believed = list(fates.believed())
    if not (missing or believed or unknown > 0):
        return
    yield ""
    yield "What is not in"
    for fate in missing:
        where = place(evidence.entries[fate.at], run)
        yield item(f"Object {fate.number}, {at_place(fate.kind, fate.x, fate.y)}: {fate.why_not_in} {where}.")
    for fate in believed:
        where = place(evidence.entries[fate.at], run)
        yield item(
            f"Object {fate.number}, {fate.kind}, is only believed to be in the tray: nothing could tell {where}."
        )
    if unknown > 0 and "expect" in file_of(run, "errand"):
        yield item(f"{counted(unknown, 'object')} more that the run never knew of, or lost sight of.")
    elif unknown > 0:
        yield item("More may stand in the field, which had not been searched to its end.")


def _time(evidence: Evidence) -> Iterator[str]:
    """Yield what cost most time: innermost states by their visits, and hold-backs."""
    least_s = LEAST_SHARE * evidence.lasts_s
    states = [one for one in spent_in_states(evidence)[:MOST_STATES] if one.seconds > least_s]
    if not states:
        return
    yield ""
    yield "What took most time"
    for one in states:
        longest = f"the longest {duration(one.longest_s)} {place(one.longest, evidence.run)}"
        share = one.seconds / evidence.lasts_s
        yield item(f"{one.what}: {duration(one.seconds)} ({share:.0%}), {counted(one.times, 'visit')}, {longest}.")
    for one in spent_held_back(evidence):
        if one.seconds > least_s:
            longest = f"the longest {duration(one.longest_s)} {place(one.longest, evidence.run)}"
            yield item(f"Held back by '{one.what}' {times(one.times)}: {duration(one.seconds)} in all, {longest}.")


def _trouble(evidence: Evidence) -> Iterator[str]:
    findings = found_in(evidence)
    yield ""
    yield "What troubled it, and what to try"
    if not findings:
        yield "  Nothing that a rule knows of."
    for number, finding in enumerate(findings, 1):
        told = finding.suspicion
        yield paragraph(f"{told.whom}: {told.said} {place(told.at, evidence.run)}.", "     ", f"  {number}. ")
        yield paragraph(f"Try: {finding.rule.advice}.", "     ")
