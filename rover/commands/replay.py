"""`rover replay`."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

import click

from rover.awaited import Awaited, in_words
from rover.commands import options
from rover.commands.main import FAILED
from rover.commands.output import ProgressLine
from rover.events import StateChange, Stop
from rover.session.parting import Parting, Partings, Side, partings
from rover.session.program import computer
from rover.session.recorded_errand import Changes
from rover.session.replay import Replayed, replay

RECORDED, CHANGED = "as recorded", "with the change"


@click.command()
@click.argument("record", type=options.A_PATH)
@click.option(
    *("--with", "file"),
    type=options.A_PATH,
    metavar="FILE",
    help="An errand, behaviour or robot file instead of the recorded one: where do decisions part, and why?",
)
@options.SETTINGS
@click.option(
    "--from",
    "from_s",
    default="0 s",
    callback=options.time_since_start,
    metavar="TIME",
    help="Look at what comes after it.",
)
@options.DRIVERS
@options.JSON
def command(record: Path, file: Path | None, settings: dict[str, Any], from_s: float, as_json: bool) -> int:
    """Replay a run RECORD: does the core decide the same again, and if not, where and why?

    Nothing else than the record is needed, but for activities of your own (--drivers).
    """
    with closing(ProgressLine()) as line:

        def progress(seconds: float, state: str) -> None:
            line.show(seconds, state, 0)

        @cache
        def loading(name: str) -> None:
            line.say(f"loading {name}")

        if file is not None or settings:
            parted = partings(record, Changes(file, settings), from_s, progress, loading)
            lines, as_plain = _of_partings(parted), asdict(parted)
            is_same = parted.commands is None and parted.states is None and parted.apart is None
        else:
            found = replay(record, from_s, progress, loading)
            lines, as_plain = _of_replay(found), _plain(found)
            is_same = found.difference is None
    if as_json:
        click.echo(json.dumps(as_plain, default=str))
    else:
        for text in lines:
            click.echo(text)
    return 0 if is_same else FAILED


def _plain(found: Replayed) -> dict[str, Any]:
    names = ("source", "steps", "until_s", "compared", "causes")
    nested = {"difference": found.difference and asdict(found.difference), "gap": found.gap and asdict(found.gap)}
    return {name: getattr(found, name) for name in names} | nested | {"rounding": found.rounding._asdict()}


def _of_replay(found: Replayed) -> Iterator[str]:
    counts = ", ".join(f"{number} {what}" for what, number in found.compared.items()) or "nothing"
    yield f"{found.steps} steps, {found.until_s:.1f} s, by {found.source}; held against the record: {counts}"
    began_ns, different = found.run.started_ns, found.difference
    if found.gap is not None:
        first_s, last_s = ((at_ns - began_ns) * 1e-9 for at_ns in (found.gap.from_ns, found.gap.to_ns))
        yield (
            f"from {first_s:.2f} s to {last_s:.2f} s the readings of {found.gap.samples} steps were not written: what "
            "comes after cannot be replayed"
        )
    numbers, since_ns, most = found.rounding
    if numbers:
        since_s = (since_ns - began_ns) * 1e-9
        yield f"{numbers} of these differ in their last digits only, since {since_s:.2f} s, by at most {most:.1g}:"
        yield from _beside("recorded on", found.run.header["computer"], "replayed on", computer())
    if different is None:
        yield "every decision is the same" if numbers else "no difference: every decision is the same, to the last bit"
        return
    at_s = (different.at_ns - began_ns) * 1e-9
    yield f"first difference at {at_s:.2f} s, step {different.step}, in '{different.state}', of the {different.what}:"
    yield from _beside("recorded", different.recorded or "nothing", "replayed", different.replayed or "nothing")
    yield from (f"cause: {cause}" for cause in found.causes)


def _of_partings(parted: Partings) -> Iterator[str]:
    commands, states = parted.commands, parted.states
    if commands is not None:
        yield f"wheels or jaws are commanded otherwise from {_place(commands)} on:"
        yield from _beside(RECORDED, _commanded(commands.recorded), CHANGED, _commanded(commands.changed))
    if states is not None:
        yield f"decisions part at {_place(states)}:"
        yield from _beside(RECORDED, _decided(states.recorded), CHANGED, _decided(states.changed))
        if states.recorded.does != states.changed.does:
            yield "what it does there, lengths in m, angles in rad:"
            yield from _beside(RECORDED, states.recorded.does, CHANGED, states.changed.does)
        yield "its ways out, and how far each was:"
        for one, other in _pairs(states.recorded, states.changed):
            yield f"  {_head(one or other)}"
            yield from (f"  {line}" for line in _beside(RECORDED, _far(one), CHANGED, _far(other)))
        yield "what comes after is another run: the readings go on as recorded"
    elif parted.apart is not None:
        yield f"the two ended in other states: '{parted.apart[0]}' as recorded, '{parted.apart[1]}' with the change"
    else:
        yield f"no other exit is taken in {parted.steps} steps"


def _place(parting: Parting) -> str:
    return f"{parting.at_s:.2f} s, step {parting.step}, in '{parting.state}'"


def _beside(name: str, text: str, other: str, text_of_other: str) -> Iterator[str]:
    width = max(len(name), len(other))
    yield f"  {name:<{width}}  {text}"
    yield f"  {other:<{width}}  {text_of_other}"


def _commanded(side: Side) -> str:
    left, right, opening = side.commands
    jaws = "not yet commanded" if opening is None else "limp" if opening < 0.0 else f"{opening:.0%} open"
    return f"duties {left:.4f} and {right:.4f}, jaws {jaws}"


def _decided(side: Side) -> str:
    return "; ".join(map(_change_in_words, side.changes)) or "stays"


def _change_in_words(change: StateChange | Stop) -> str:
    if isinstance(change, Stop):
        return f"stops: {change.cause}"
    return f"goes to '{change.entered}' by '{change.exit}' ({change.where})"


def _pairs(recorded: Side, changed: Side) -> Iterator[tuple[Awaited | None, Awaited | None]]:
    """Yield the ways out of both that are not alike: those of one text together, the rest in their order."""
    others = {(one.scope, one.text): one for one in changed.exits}
    known = {(one.scope, one.text) for one in recorded.exits}
    alone = iter([one for key, one in others.items() if key not in known])
    for one in recorded.exits:
        other = others.get((one.scope, one.text)) or next(alone, None)
        if other is None or _far(one) != _far(other):
            yield one, other
    yield from ((None, other) for other in alone)


def _head(one: Awaited | None) -> str:
    assert one is not None
    return f"{one.text} ({one.where})"


def _far(one: Awaited | None) -> str:
    return "not there" if one is None else in_words(one).removeprefix(f"{one.text}: ")
