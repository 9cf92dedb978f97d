"""Which motor turns which wheel which way, and which encoder tells it: mistakes in the wiring, and the lines that mend.

Pure. Each side is commanded alone; what turned is what the person saw, or, without one, what the encoders say.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from rover.files.robot import Robot

SIDES = ("left", "right")
COUPLED_SHARE = 0.2
"""The other side's counts may reach this share of the larger ones before both count as moving."""
LEAST_REVOLUTIONS = 0.02
DRAWS_AMPS = 0.05
"""A motor that turns, or tries to, draws at least so much more (A) than the robot at rest."""


class SeenTurning(NamedTuple):
    """What the person saw: the sides whose wheels turned, and the way the (last) one of them turned."""

    sides: tuple[str, ...]
    forwards: bool = True


class Trial(NamedTuple):
    """One side commanded forwards by itself, and what came of it.

    Attributes:
        side: the side that was commanded.
        counts: change of the left and the right counts, as the robot file reads them.
        seen: None where nobody looked.
        amps: current above that at rest (A); None where it is not measured.
    """

    side: str
    counts: tuple[int, int]
    seen: SeenTurning | None = None
    amps: float | None = None


class Setting(NamedTuple):
    """A key of a device in the robot file and the value it should have."""

    family: str
    key: str
    value: bool


@dataclass
class Diagnosis:
    """What is wrong (empty: nothing), what to try, what to change, and what instead if the encoders misled."""

    mistakes: list[str] = field(default_factory=list)
    advice: list[str] = field(default_factory=list)
    settings: list[Setting] = field(default_factory=list)
    alternatives: list[Setting] = field(default_factory=list)

    def add(self, mistake: str, advice: str) -> None:
        """Note a mistake that no line of the robot file mends."""
        self.mistakes.append(mistake)
        self.advice.append(advice)


class _Chain(NamedTuple):
    """From the command to the wheel to the encoder of one trial; signs are 1 or -1."""

    commanded: str
    wheel: str
    wheel_sign: int
    encoder: str
    encoder_sign: int


def diagnose(robot: Robot, trials: tuple[Trial, Trial]) -> Diagnosis:
    """Return what two trials, one of each side, tell about the wiring."""
    found = Diagnosis()
    least = max(3.0, LEAST_REVOLUTIONS * robot.body.counts_per_rev)
    chains = [chain for trial in trials if (chain := _chain(trial, least, found)) is not None]
    if len(chains) == 2 and _note_meeting(chains[0], chains[1], found):
        return found
    is_seen = any(trial.seen is not None for trial in trials)
    for setting in _to_change(robot, chains):
        found.settings.append(setting)
        found.mistakes.append(_mistake(setting, is_seen))
    if not is_seen:
        found.alternatives += _encoders_instead(robot, chains)
    return found


def _chain(trial: Trial, least: float, found: Diagnosis) -> _Chain | None:
    """Follow one trial; notes what breaks the chain and returns None there."""
    counted = _counted(trial.counts, least)
    seen = _assumed(trial, counted) if trial.seen is None else trial.seen
    name = f"with the {trial.side} motor commanded alone"
    if len(seen.sides) == 2:
        found.add(
            f"coupled wiring: {name}, both {'counts move' if trial.seen is None else 'wheels turn'}",
            "part the two channels: look for a wire of one motor or encoder that touches, or shares a pin with, "
            "the other one's",
        )
    elif not seen.sides:
        _note_stillness(trial, counted, found)
    elif not counted:
        found.add(
            f"dead encoder: {name}, the {seen.sides[0]} wheel turns and nothing counts",
            f"check the {seen.sides[0]} encoder's supply, its ground and both its signal wires",
        )
    elif len(counted) == 2:
        found.add(
            f"coupled wiring: {name}, one wheel turns and both counts move",
            "part the two encoders: look for a signal wire or pin that they share, or a missing ground",
        )
    else:
        return _Chain(trial.side, seen.sides[0], 1 if seen.forwards else -1, counted[0], _sign(trial.counts, counted))
    return None


def _counted(counts: tuple[int, int], least: float) -> tuple[str, ...]:
    """Return the sides whose counts moved."""
    most = max(map(abs, counts))
    return tuple(
        side
        for side, count in zip(SIDES, counts, strict=True)
        if abs(count) >= least and abs(count) >= COUPLED_SHARE * most
    )


def _sign(counts: tuple[int, int], counted: tuple[str, ...]) -> int:
    return 1 if counts[SIDES.index(counted[0])] > 0 else -1


def _assumed(trial: Trial, counted: tuple[str, ...]) -> SeenTurning:
    """Return what would have been seen if the encoders are right; a motor that draws current is taken to turn."""
    if counted:
        return SeenTurning(counted, _sign(trial.counts, counted) > 0)
    is_drawing = trial.amps is not None and trial.amps >= DRAWS_AMPS
    return SeenTurning((trial.side,) if is_drawing else ())


def _note_stillness(trial: Trial, counted: tuple[str, ...], found: Diagnosis) -> None:
    side = trial.side
    if counted:
        found.add(
            f"the {counted[0]} encoder counts although no wheel turned",
            "check the encoder's supply, ground and pull-ups, and that its wires keep away from the motors'",
        )
    elif trial.seen is None and trial.amps is None:
        found.add(
            f"dead motor or dead encoder: with the {side} motor commanded alone, nothing counts",
            f"look whether the {side} wheel turns: if it does, check its encoder's supply and signal wires; "
            "if not, the motor's wires, the motor supply and the enable pin",
        )
    else:
        found.add(
            f"dead motor: the {side} motor is commanded and nothing turns",
            f"check the {side} motor's wires at motor and H-bridge, the motor supply, its fuse and the enable pin; "
            "a wheel that hums and stands still needs a larger 'dead_band:'",
        )


def _note_meeting(one: _Chain, other: _Chain, found: Diagnosis) -> bool:
    """Tell whether two commands end at one wheel or one encoder, which no swapping mends, and note it."""
    if one.wheel == other.wheel:
        what, where = f"both motor channels turn the {one.wheel} wheel", "motors at the H-bridge"
    elif one.encoder == other.encoder:
        what, where = f"both wheels are counted by the {one.encoder} encoder", "encoders at their pins"
    else:
        return False
    found.add(f"coupled wiring: {what}", f"check which wires go where: {where}")
    return True


def _to_change(robot: Robot, chains: list[_Chain]) -> Iterator[Setting]:
    """Yield the settings that differ from those in the file, drive first."""
    devices = robot.devices
    motors = [_Crossing(chain.commanded, chain.wheel, chain.wheel_sign) for chain in chains]
    encoders = [_Crossing(chain.encoder, chain.wheel, chain.wheel_sign * chain.encoder_sign) for chain in chains]
    yield from _corrections("drive", devices.drive.options, motors)
    yield from _corrections("counts", devices.counts.options, encoders)


class _Crossing(NamedTuple):
    """One channel: the side the file takes it for, the side it is, and 1 or -1: is its sign as in the file?"""

    named: str
    is_really: str
    agrees: int


def _corrections(family: str, options: Mapping[str, object], channels: list[_Crossing]) -> Iterator[Setting]:
    """Yield a family's settings to change. A sign belongs to a channel: it goes along when the sides are swapped."""
    if any(channel.named != channel.is_really for channel in channels):
        yield Setting(family, "swap_sides", not options["swap_sides"])
    for channel in sorted(channels, key=lambda channel: channel.is_really):
        was_reversed = bool(options[f"reverse_{channel.named}"])
        shall_be = was_reversed if channel.agrees > 0 else not was_reversed
        if shall_be is not bool(options[f"reverse_{channel.is_really}"]):
            yield Setting(family, f"reverse_{channel.is_really}", shall_be)


def _mistake(setting: Setting, is_seen: bool) -> str:
    """Return the mistake that a setting mends."""
    motors = "motor" if setting.family == "drive" else "encoder"
    if not is_seen:
        motors = "motor (or encoder)"
    if setting.key == "swap_sides":
        return f"swapped channels: left and right {motors} are the wrong way round"
    return f"swapped sign: the {setting.key.removeprefix('reverse_')} {motors} runs backwards"


def _encoders_instead(robot: Robot, chains: list[_Chain]) -> Iterator[Setting]:
    """Yield the settings that mend the same if the wheels turned as commanded after all."""
    crossings = [_Crossing(chain.encoder, chain.commanded, chain.encoder_sign) for chain in chains]
    return _corrections("counts", robot.devices.counts.options, crossings)
