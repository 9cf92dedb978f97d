"""Rules on the figures with which a run sums up its devices (`rover.session.figures`).

Each threshold lies well outside of what ten healthy rehearsals of the demo show, which stands beside it.
"""

import re
from collections.abc import Callable, Iterator, Mapping

from rover.diagnosis.evidence import Evidence
from rover.diagnosis.finding import Gravity, Suspicion
from rover.diagnosis.recorded_files import block, file_of, quantity

FEW = 20
"""Of less than so many looks no share is worked out."""
DISTANCE, BEARING = "marker's distance", "marker's bearing"
REFUSED = {"heading": 0.06, DISTANCE: 0.08, BEARING: 0.08}
"""Share of a source's corrections that the pose filter refuses; healthy: 0.014, 0.017, 0.008 at most."""
FEW_ECHOES, WALL_REFUSED, WALL_OFF = 12, 0.25, 0.06
"""Of a wall that was heard so often, so many are refused, or their mean is so far (m) off: it is not where the map has
it. Healthy: 0.12 and 0.05 m at most."""
ASTRAY = 0.5
"""Refused echoes that are so far (m) off on the average are of no wall."""
_OF_A_WALL = re.compile(r"wall \w+ heard")
START_OFF = 0.2
"""By how much (m) the fixes of the first minute move the position in all. Healthy: 0.08 at most."""
NOISY = 1.3
"""Noise of the heading as a multiple of the robot file's ``sigma``; healthy: 0.54 at most."""
SCALED = 0.04
"""By how much the wheels' way is off; healthy: 0.021 at most, which is slip."""
TRACK = (0.7, 1.45)
"""Learned track, as a share of the robot file's; healthy: the bench's own, 0.8 to 1.27 of the first guess."""
LEAST_WAY = 5.0
"""On less way (m) than this nobody can tell how wheels slip, or sides differ."""
SLIPS = 30.0
"""Slips a metre; healthy: 5.5 at most (wired, where counts and turn rate are not of one time, 15)."""
UNEVEN = 1.45
"""Duty of one side over the other's on straight ways; healthy: 1.13 at most."""
UNHEARD = 0.5
"""Share of looks at known walls in which no echo comes; healthy: 0.2 at most."""
UNSEEN = 0.32
"""Share of looks in which an object is not seen that should be in plain view; healthy: 0.22 at most."""
FEW_REPORTS, OLD = 0.7, 0.5
"""Share of the reports due, and their mean age as a share of ``overdue_after``; healthy: 1.00 (wired, on a
busy computer, 0.77), and 0.25 at most."""
FLASHES = 0.01
"""A kind in a smaller share of the frames than this was not there: a camera sees things now and then."""
LOOKED_ABOUT_S = 120.0
"""So long (s) a run has to be for a kind that was not seen to be missed."""
VOLTS_SPREAD = 0.1
"""Scatter (V) of the battery's voltage at rest; healthy: 0.02 at most."""
EMPTY = 0.86
"""Share of the full voltage at rest below which a battery is nearly empty; healthy: 0.96."""


def _share(evidence: Evidence, part: str, whole: str) -> float | None:
    of = evidence.figures.get(whole, 0.0)
    return evidence.figures.get(part, 0.0) / of if of >= FEW else None


def refused(source: str, whom: str) -> Callable[[Evidence], Iterator[Suspicion]]:
    """Return the look that finds a source of corrections which the pose filter refused too often."""

    def look(evidence: Evidence) -> Iterator[Suspicion]:
        share = _share(evidence, f"{source} refused", f"{source} heard")
        if share is not None and share > REFUSED[source]:
            number = int(evidence.figures[f"{source} heard"])
            yield Suspicion(whom, f"the position filter refused {share:.0%} of {number} looks at the {source}")

    return look


def walls_off(evidence: Evidence) -> Iterator[Suspicion]:
    """Find walls that are not where the map has them; of several, whether range finder or marker may be to blame."""
    figures = evidence.figures
    names = [name.removeprefix("wall ").removesuffix(" heard") for name in figures if _OF_A_WALL.fullmatch(name)]
    off = {name: figures[f"wall {name} beyond / m"] for name in names if _is_off(figures, name)}
    if not off:
        return
    told = " and ".join(f"{name} {abs(by):.2f} m {'beyond' if by > 0.0 else 'before'}" for name, by in off.items())
    said = f"echoes put walls elsewhere than the map: {told} their place on the average"
    if len(off) > 1 and all(figures.get(f"wall {name} refused off / m", 0.0) > ASTRAY for name in off):
        yield Suspicion("range", f"many echoes come from where no wall is, when it faces {' or '.join(off)}")
    elif len(off) == 1:
        yield Suspicion(f"wall {next(iter(off))} of the map", said)
    elif len({by > 0.0 for by in off.values()}) == 1:
        yield Suspicion("range, or walls of the map", said)
    else:
        yield Suspicion("marker, or walls of the map", said)


def _is_off(figures: Mapping[str, float], name: str) -> bool:
    heard = figures[f"wall {name} heard"]
    if heard < FEW_ECHOES:
        return False
    return figures[f"wall {name} refused"] > WALL_REFUSED * heard or abs(figures[f"wall {name} beyond / m"]) > WALL_OFF


def wrong_start(evidence: Evidence) -> Iterator[Suspicion]:
    """Find that the first fixes together moved the position far."""
    moved = evidence.figures.get("moved by first fixes / m", 0.0)
    if moved > START_OFF:
        yield Suspicion("start", f"in the first minute fixes moved the position by {moved:.2f} m in all")


def noisy_heading(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a heading that is noisier than the robot file has it."""
    factor = evidence.figures.get("heading noise factor", 0.0)
    if factor > NOISY:
        yield Suspicion("heading", f"its angles scatter {factor:.1f} times as much as the robot file's 'sigma' says")


def scaled_way(evidence: Evidence) -> Iterator[Suspicion]:
    """Find wheels whose counted way is not the way that walls and marker tell."""
    off = evidence.figures.get("travel scale", 1.0) - 1.0
    if abs(off) > SCALED:
        than = "longer" if off > 0.0 else "shorter"
        yield Suspicion("wheel diameter or counts", f"ways are {abs(off):.1%} {than} than the wheels' counts make them")


def odd_track(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a base that turns as if it were much wider or narrower than the robot file has it."""
    robot = block(file_of(evidence.run, "robot"), "body")
    stated = robot.get("track_factor", 1.0)
    factor = evidence.figures.get("track factor")
    if factor is None or not isinstance(stated, int | float):
        return
    if not TRACK[0] < factor / stated < TRACK[1]:
        said = (
            f"the base turns as if its track were {factor:.2f} times the geometric one; the robot file has {stated:.2f}"
        )
        yield Suspicion("track", said)


def slips(evidence: Evidence) -> Iterator[Suspicion]:
    """Find wheels that slip often."""
    way = evidence.figures.get("way / m", 0.0)
    if way > LEAST_WAY and (each := evidence.figures.get("slips", 0.0) / way) > SLIPS:
        yield Suspicion("wheels", f"a side slipped {each:.1f} times a metre")


def uneven_sides(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a side that needs much more duty than the other on straight ways."""
    ratio = evidence.figures.get("left duty / right duty", 1.0)
    if evidence.figures.get("way / m", 0.0) > LEAST_WAY and not 1.0 / UNEVEN < ratio < UNEVEN:
        side, times = ("left", ratio) if ratio > 1.0 else ("right", 1.0 / ratio)
        yield Suspicion(f"{side} motor", f"on straight ways the {side} side needs {times:.1f} times the other's duty")


def unheard(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a range finder that often hears nothing where a known wall should be heard."""
    walls = [name.removesuffix(" heard") for name in evidence.figures if _OF_A_WALL.fullmatch(name)]
    heard, silent = (
        sum(evidence.figures.get(f"{name} {what}", 0.0) for name in walls) for what in ("heard", "unheard")
    )
    if heard + silent >= FEW and (share := silent / (heard + silent)) > UNHEARD:
        yield Suspicion(
            "range", f"no echo came in {share:.0%} of the looks in which a known wall should have been heard"
        )


def unseen(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a camera that does not see what should be in plain view."""
    missed, shown = evidence.figures.get("objects missed", 0.0), evidence.figures.get("objects shown", 0.0)
    if missed + shown >= FEW and (share := missed / (missed + shown)) > UNSEEN:
        yield Suspicion("camera", f"objects were not seen in {share:.0%} of the looks in which they should have been")


def few_reports(evidence: Evidence) -> Iterator[Suspicion]:
    """Find devices that report less often than the robot file has it; in a run that is over at once nobody can tell."""
    for name, share in evidence.figures.items():
        device = name.removesuffix(" reports / due")
        if device != name and share < FEW_REPORTS and evidence.figures.get(f"{device} reports", 0.0) >= FEW:
            told = f"only {share:.0%} of the reports came that are due at its rate"
            yield Suspicion(device.replace("_", " "), told)


def old_reports(evidence: Evidence) -> Iterator[Suspicion]:
    """Find devices whose reports are old when they come."""
    devices = block(file_of(evidence.run, "robot"), "devices")
    for name, age_s in evidence.figures.items():
        device = name.removesuffix(" age / s")
        if device == name:
            continue
        allowed_s = quantity(block(devices, device).get("overdue_after")) or 0.5
        if age_s > OLD * allowed_s:
            yield Suspicion(
                device.replace("_", " "), f"its reports are {age_s * 1e3:.0f} ms old on the average when they come"
            )


def kinds_unseen(evidence: Evidence) -> Iterator[Suspicion]:
    """Find kinds of which not one was ever seen, where others were, and the robot looked about for a while."""
    if evidence.lasts_s < LOOKED_ABOUT_S:
        return
    frames = {
        name.removeprefix("frames with "): number
        for name, number in evidence.figures.items()
        if name.startswith("frames with ")
    }
    chosen = {mention.text.partition(" ")[0] for mention in evidence.mentions if mention.kind == "chosen"}
    reports = evidence.figures.get("camera reports", 0.0)
    for kind, number in frames.items():
        if chosen and kind not in chosen and number < FLASHES * reports:
            yield Suspicion(kind, f"no {kind} was ever seen for longer than a flash", gravity=Gravity.LACKED)


def restless_battery(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a battery monitor whose voltage jumps."""
    spread = evidence.figures.get("rest spread / V", 0.0)
    if spread > VOLTS_SPREAD:
        yield Suspicion("battery", f"its voltage at rest scatters by {spread:.2f} V")


def empty_battery(evidence: Evidence) -> Iterator[Suspicion]:
    """Find a battery that was nearly empty."""
    lowest = evidence.figures.get("lowest rest / V")
    battery = block(block(file_of(evidence.run, "robot"), "devices"), "battery")
    full = quantity(battery.get("full"))
    if lowest is not None and full is not None and lowest < EMPTY * full:
        yield Suspicion("battery", f"it was down to {lowest:.2f} V at rest, of {full:.1f} V when full")
