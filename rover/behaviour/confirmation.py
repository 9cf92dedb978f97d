"""What each confirmation of a behaviour buys: the delay it adds, and how often flicker still passes it."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rover.behaviour.model import AT_ONCE, BehaviourGraph, Counted, ExitNode
from rover.behaviour.vocabulary import GRIP
from rover.files.errand import Kind
from rover.files.grip import tellers
from rover.files.robot import Robot

FLICKER = 0.05
"""Chance that one sample is wrong, for the table: invented for comparison, not measured."""
BURST = 3
"""Samples that a burst of wrong ones lasts, for the table."""


@dataclass(frozen=True)
class ConfirmationCost:
    """One row of the table: an exit's text, its file and line.

    Attributes:
        added_delay_s: between the first true sample and the decision, when all are true.
        independent: chance that the confirmation holds in one window of independent wrong samples.
        burst: chance per burst that it holds when wrong samples come `BURST` at a time.
    """

    text: str
    where: str
    added_delay_s: float
    independent: float
    burst: float


def binomial_tail(needed: int, of: int, chance: float) -> float:
    """Return the chance of at least ``needed`` successes among ``of`` independent trials."""
    return sum(math.comb(of, k) * chance**k * (1 - chance) ** (of - k) for k in range(needed, of + 1))


def confirmation_costs(graph: BehaviourGraph, robot: Robot, kinds: Mapping[str, Kind]) -> Iterator[ConfirmationCost]:
    """Yield a row for each confirmed exit of a behaviour, with the rates of a robot's devices; ``kinds`` are held."""
    rates = {name: device.rate for name, device in robot.devices.fitted().items()}
    told = [one.device for kind in kinds.values() for one in tellers(robot, kind) if not one.why_not]
    rates[GRIP] = min([rates[device] for device in told] or [robot.loop])
    for one in graph.exits():
        if one.when is not None and one.confirm != AT_ONCE:
            # A sample is due as often (Hz) as the slowest device of the condition reports.
            yield _row(one, min([rates[device] for device in one.devices if device in rates] or [robot.loop]))


def _row(one: ExitNode, rate: float) -> ConfirmationCost:
    if isinstance(one.confirm, Counted):
        needed, of = one.confirm.needed, one.confirm.of
        delay = (needed - 1) / rate
    else:
        gaps = math.ceil(one.confirm.span_ns / 1e9 * rate - 1e-9)  # whole ones: the span ends with a sample
        delay, needed, of = gaps / rate, gaps + 1, gaps + 1
    passes = min(BURST, of)
    rest = binomial_tail(max(needed - passes, 0), of - passes, FLICKER) if needed > passes else 1.0
    return ConfirmationCost(one.text, str(one.where), delay, binomial_tail(needed, of, FLICKER), rest)
