"""What may be wrong with a run: each cause is an edit of the demo's errand, robot or bench file.

Half of them have a rule of their own in `rover.diagnosis.rules`, which was written with them in mind; of the other half
no rule knows.
"""

from dataclasses import dataclass
from random import Random
from typing import Any


@dataclass(frozen=True)
class Cause:
    """Something that is wrong.

    Attributes:
        name: in words.
        named: the pattern (a regular expression) that whoever is suspected has to match: the cause, or its device.
        faults: lines of the bench file's faults; ``{t}`` is a time that the seed draws, ``{a}`` an amount.
        edits: (file, key path, value), the value with ``{a}`` as before; None takes the key away.
        amount: between which the seed draws ``{a}``.
        has_rule: a rule was written with it in mind.
    """

    name: str
    named: str
    faults: tuple[str, ...] = ()
    edits: tuple[tuple[str, str, Any], ...] = ()
    amount: tuple[float, float] = (0.0, 0.0)
    has_rule: bool = True


def _unruled(
    name: str,
    named: str,
    faults: tuple[str, ...] = (),
    edits: tuple[tuple[str, str, Any], ...] = (),
    amount: tuple[float, float] = (0.0, 0.0),
) -> Cause:
    return Cause(name, named, faults, edits, amount, has_rule=False)


CAUSES = (
    # With a rule of their own.
    Cause("left motor wired the wrong way round", "left (motor|encoder)", ("at 0 s: left motor reversed",)),
    Cause(
        "right encoder wired the wrong way round", "right (motor|encoder)|encoders", ("at 0 s: right counts reversed",)
    ),
    Cause("left encoder's magnet comes off", "left encoder|encoders", ("at {t} s: left counts stuck",)),
    Cause(
        "wheel diameter wrong",
        "wheel diameter|counts|encoders",
        ("at 0 s: counts scaled by {a:.2f}",),
        amount=(1.1, 1.3),
    ),
    Cause("heading sensor unplugged", "heading", ("at {t} s: heading silent",)),
    Cause("camera unplugged", "camera", ("at {t} s: camera silent",)),
    Cause(
        "weak battery",
        "battery",
        edits=(("bench", "battery.charge", "{a:.0f} %"), ("bench", "battery.lasts", "20 min")),
        amount=(15, 30),
    ),
    Cause(
        "tray too small",
        "tray",
        edits=(("errand", "field.zone.width", "{a:.0f} cm"), ("errand", "field.zone.depth", "{a:.0f} cm")),
        amount=(35, 55),
    ),
    Cause(
        "jar in a corner",
        "where object .*stands",
        edits=(("bench", "objects", [{"kind": "amber", "x": "5.95 m", "y": "3.95 m"}]),),
    ),
    Cause(
        "too little time",
        "setting longest",
        edits=(("errand", "settings", {"longest": "{a:.0f} s"}),),
        amount=(90, 240),
    ),
    Cause("jaws jammed", "gripper", ("at {t} s: gripper jammed",)),
    Cause("cable before the range finder", "range", ("at {t} s: range says 25 cm",)),
    Cause("a kind is missing", "violet", edits=(("bench", "scatter", {"amber": 3, "teal": 3}),)),
    Cause("serial plug loose", "link", edits=(("bench", "link.stall_every", "{a:.0f} s"),), amount=(3, 6)),
    Cause("marker misplaced", "marker", ("at 0 s: marker moved to [30 cm, 1.1 m]",)),
    Cause(
        "a wall is not where the map has it",
        "wall",
        ("at 0 s: wall north moved by [0 m, -{a:.2f} m]",),
        amount=(0.15, 0.3),
    ),
    Cause("heading noisy", "heading", ("at 0 s: heading noisy by {a:.0f} deg",), amount=(8, 20)),
    Cause("flickering light", "camera", ("at 0 s: camera flickering by {a:.0f} %",), amount=(50, 80)),
    Cause(
        "set down beside its start",
        "start|position",
        ("at 0 s: robot moved by [{a:.2f} m, {a:.2f} m]",),
        amount=(0.15, 0.3),
    ),
    Cause(
        "a post that is on no map",
        "in the way",
        edits=(
            (
                "bench",
                "obstacles",
                [{"x": "2.9 m", "y": "1.2 m"}, {"x": "1.6 m", "y": "1.7 m"}, {"x": "2.4 m", "y": "2.3 m"}],
            ),
        ),
    ),
    # Without one.
    _unruled("camera knocked aside", "camera", ("at 0 s: camera biased by {a:.0f} deg",), amount=(5, 12)),
    _unruled("camera loose on its mount", "camera", ("at 0 s: camera noisy by {a:.0f} deg",), amount=(4, 10)),
    _unruled("camera lags", "camera", ("at 0 s: camera lagging by {a:.0f} ms",), amount=(300, 700)),
    _unruled("camera freezes", "camera", ("at {t} s: camera frozen",)),
    _unruled("heading sensor upside down", "heading", ("at 0 s: heading reversed",)),
    _unruled(
        "heading sensor beside iron",
        "heading",
        edits=(("bench", "floor.heading_bias", "{a:.0f} deg"),),
        amount=(20, 40),
    ),
    _unruled("heading drifts", "heading", ("at 0 s: heading drifting by {a:.1f} deg/s",), amount=(0.3, 1.0)),
    _unruled("heading freezes", "heading", ("at {t} s: heading stuck",)),
    _unruled("servo of the jaws weak", "gripper", ("at 0 s: gripper slow by {a:.0f} %",), amount=(55, 80)),
    _unruled("right motor fails", "right (motor|encoder)|motors", ("at {t} s: right motor dead",)),
    _unruled(
        "left encoder miscounts",
        "left encoder|encoders|counts",
        ("at 0 s: left counts scaled by {a:.2f}",),
        amount=(0.7, 0.85),
    ),
    _unruled("range finder doubles", "range", ("at 0 s: range doubled",)),
    _unruled("range finder hears ghosts", "range", ("at 0 s: range stray {a:.0f} %",), amount=(20, 40)),
    _unruled(
        "a sill across the floor",
        "in the way|motors|wheels",
        edits=(("bench", "lips", [{"ends": [["3 m", "0 m"], ["3 m", "4 m"]], "duty": "{a:.0f} %"}]),),
        amount=(35, 60),
    ),
    _unruled(
        "somebody turns it", "turned|heading|position", ("at {t} s: robot turned by {a:.0f} deg",), amount=(30, 90)
    ),
    _unruled(
        "a driver raises at every poll",
        "battery",
        edits=(("robot", "devices.battery", {"driver": "raising:Raising", "rate": "2 Hz"}),),
    ),
    _unruled(
        "low battery setting too tight",
        "low_battery|battery",
        edits=(("errand", "settings", {"low_battery": "12.45 V"}),),
    ),
    _unruled(
        "patience with hold-backs too short", "held_back", edits=(("errand", "settings", {"held_back": "400 ms"}),)
    ),
    _unruled("left wheels off the ground", "left|slip|wheels", ("at {t} s: left wheels off the ground",)),
    _unruled(
        "slippery jaws",
        "gripper",
        edits=(("bench", "gripper.dropped", "{a:.0f} %"), ("bench", "gripper.dropped_after", ["1 s", "6 s"])),
        amount=(50, 90),
    ),
)
"""The list, written down before any cause was drawn."""


@dataclass(frozen=True)
class Drawn:
    """A cause as a seed has drawn it: its fault lines and edits with their numbers, and the seed of the run."""

    cause: Cause
    faults: tuple[str, ...]
    edits: tuple[tuple[str, str, Any], ...]
    seed: int


def draw(number: int, seed: int, among: tuple[Cause, ...] = CAUSES) -> list[Drawn]:
    """Return so many causes, drawn by a seed."""
    random = Random(seed)
    return [_drawn(random.choice(among), random) for _ in range(number)]


def _drawn(cause: Cause, random: Random) -> Drawn:
    numbers = {"t": random.randint(20, 90), "a": random.uniform(*cause.amount)}
    faults = tuple(line.format(**numbers) for line in cause.faults)
    edits = tuple((file, key, _filled(value, numbers)) for file, key, value in cause.edits)
    return Drawn(cause, faults, edits, random.randint(100, 999))


def _filled(value: Any, numbers: dict[str, float]) -> Any:
    if isinstance(value, str):
        return value.format(**numbers)
    if isinstance(value, list):
        return [_filled(one, numbers) for one in value]
    if isinstance(value, dict):
        return {key: _filled(one, numbers) for key, one in value.items()}
    return value
