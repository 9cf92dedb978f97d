"""Every device lost in every state that an errand reaches, one rehearsal each: which there are, and their matrix."""

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

from rover.devices.with_driver import is_dotted
from rover.errors import UserError
from rover.files.faults import losses_of
from rover.files.problems import meant
from rover.session.assembly import Assembly
from rover.trials.trial import Trial
from rover.trials.verdict import DONE, ENDED, RULES, STOPPED, WRONG, Observed, Verdict

LINK = "link"
"""The serial line stands among the devices: with it, all that are on it are lost at once."""
LASTING = {"3 s": 3.0, "": math.inf}
"""How long a device is lost, as a fault's line has it, and in s."""


class Loss(NamedTuple):
    """A device that is lost in a state.

    Attributes:
        state: path of the one that is being entered, for the first time.
        device: as the robot file calls it, or `LINK`.
        way: ``silent``, ``stuck`` or ``lying``.
        words: what happens, as a fault's line has it: ``heading biased by 30 deg``.
        lasts: how long, as a line has it; '' for good.
    """

    state: str
    device: str
    way: str
    words: str
    lasts: str

    @property
    def line(self) -> str:
        """The fault's line."""
        return f"on entering {self.state}: {self.words}{f' for {self.lasts}' if self.lasts else ''}"


@dataclass(frozen=True)
class Cell:
    """One rehearsal.

    Attributes:
        trial: what is rehearsed, the loss among what is given.
        loss: None for the rehearsal in which nothing is lost.
        lost_s: when its state is entered.
    """

    trial: Trial
    loss: Loss | None = None
    lost_s: float | None = None


@dataclass(frozen=True)
class Losable:
    """What can be lost.

    Attributes:
        ways: by device, how it is lost: by ``silent``, ``stuck`` and ``lying`` the words of a fault's line.
        left_out: sentences on devices that the bench cannot have lost.
    """

    ways: Mapping[str, Mapping[str, str]]
    left_out: tuple[str, ...]


def losable(assembly: Assembly) -> Losable:
    """Return what the bench can have lost of a robot.

    Raises:
        UserError: the errand is rehearsed on a simulation of the person's own, or on none.
    """
    bench, devices = assembly.bench, assembly.robot.devices
    if bench is None or bench.simulation is not None:
        where = "no 'bench:'" if bench is None else f"the simulation '{bench.simulation}'"
        raise UserError(f"devices are lost on the built-in bench, and the errand has {where}; name a bench file there")
    ways: dict[str, Mapping[str, str]] = {}
    left_out = []
    for name, device in devices.fitted().items():
        found = losses_of(name, devices.family_of(name))
        if is_dotted(device.driver):
            left_out.append(f"{name}: its driver is your own, '{device.driver}', and the bench has no part in it")
        elif not found:
            left_out.append(f"{name}: no fault of the bench stands for its loss")
        else:
            ways[name] = found
    if any(devices.fitted()[name].on_link is not None for name in ways):
        ways[LINK] = losses_of(LINK, LINK)
    return Losable(ways, tuple(left_out))


def cells(base: Cell, reached: Mapping[str, float], ways: Mapping[str, Mapping[str, str]]) -> Iterator[Cell]:
    """Yield a cell for each state, device, way and length.

    Args:
        base: the rehearsal in which nothing is lost.
        reached: states, and when (s) each is first entered.
        ways: as in `Losable`.
    """
    losses = (
        Loss(state, device, way, words, lasts)
        for state in reached
        for device, of_device in ways.items()
        for way, words in of_device.items()
        for lasts in LASTING
    )
    for number, loss in enumerate(losses, 1):
        given = replace(base.trial.given, faults=(*base.trial.given.faults, loss.line))
        yield Cell(replace(base.trial, number=number, given=given), loss, reached[loss.state])


def chosen(wanted: Sequence[str], known: Sequence[str], what: str) -> list[str]:
    """Return those of ``known`` that a person names, all without any; a state's name stands for its inner ones too.

    Raises:
        UserError: there is no such one; the message says which there are.
    """
    for name in wanted:
        if not any(one == name or one.startswith(f"{name}/") for one in known):
            near = meant(name, known)
            hint = f"; did you mean '{near}'?" if near else ""
            raise UserError(f"there is no {what} '{name}' here (there is: {', '.join(known)}){hint}")
    return [one for one in known if not wanted or any(one == name or one.startswith(f"{name}/") for name in wanted)]


def reached(entered_s: Mapping[str, float], assembly: Assembly) -> dict[str, float]:
    """Return of the states that were entered those that last, and when (s) each was first."""
    return {path: at_s for path, at_s in entered_s.items() if assembly.graph.states[path].final is None}


class Outcome(NamedTuple):
    """What a rehearsal came to.

    Attributes:
        loss: None for the rehearsal in which nothing is lost.
        seen: what was observed.
        verdict: what is to be thought of it.
        command: shows it.
    """

    loss: Loss | None
    seen: Observed
    verdict: Verdict
    command: str


@dataclass(frozen=True)
class Matrix:
    """All that became of an errand with its devices lost.

    Attributes:
        title: of the errand.
        errand, seed: as called.
        base: nothing is lost.
        reached_s: states that the errand reaches, and when (s).
        ways: as in `Losable`.
        left_out: as there.
        outcomes: those that are there, in the order of the cells; fewer than `size` after an interrupt.
    """

    title: str
    errand: str
    seed: int
    base: Outcome
    reached_s: Mapping[str, float]
    ways: Mapping[str, Mapping[str, str]]
    left_out: tuple[str, ...]
    outcomes: tuple[Outcome, ...]

    @property
    def size(self) -> int:
        """How many cells there are to be."""
        return len(self.reached_s) * len(LASTING) * sum(map(len, self.ways.values()))

    @property
    def wrong(self) -> list[Outcome]:
        """Those that are WRONG, by their kind."""
        found = [one for one in (self.base, *self.outcomes) if one.verdict.outcome == WRONG]
        kinds = list(dict.fromkeys(rule.kind for rule in RULES))
        return sorted(found, key=lambda one: kinds.index(one.verdict.kind))

    @property
    def summary(self) -> str:
        """How many cells there are of each sort, in a sentence."""
        verdicts = [one.verdict for one in self.outcomes]
        of = "" if len(verdicts) == self.size else f" of {self.size}"
        counts = Counter(one.outcome for one in verdicts)
        parts = [f"{counts[outcome]} {outcome}" for outcome in (DONE, ENDED, STOPPED, WRONG)]
        kinds = Counter(one.kind for one in verdicts if one.kind)
        how = f" ({', '.join(f'{kind} {count}' for kind, count in kinds.most_common())})" if kinds else ""
        return f"{len(verdicts)}{of} losses: {', '.join(parts)}{how}"

    def at(self, state: str, device: str, way: str, lasts: str) -> Outcome | None:
        """Return what became of one loss, None where it is not there."""
        return self._by_place.get((state, device, way, lasts))

    @cached_property
    def _by_place(self) -> dict[tuple[str, str, str, str], Outcome]:
        losses = ((one.loss, one) for one in self.outcomes)
        return {(loss.state, loss.device, loss.way, loss.lasts): one for loss, one in losses if loss is not None}


def columns(ways: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return the (way, length) of a device's losses, in the order of a table."""
    return [(way, lasts) for way in ways for lasts in LASTING]


def in_words(lasts: str) -> str:
    """Return how long a device is lost, for a heading."""
    return f"for {lasts}" if lasts else "for good"
