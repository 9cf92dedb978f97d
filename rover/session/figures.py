"""What a run came to know of its own devices, in figures: for whoever asks afterwards which of them troubled it.

They go into the record with the run's end. Nothing of the truth is in them: a run on the robot has the same.
"""

import math
from collections import Counter
from typing import Any

from rover.core import Core, StepReadings, StepRecord
from rover.devices.readings import RangeValue

FIRST_NS = 60_000_000_000
"""What fixes do at the beginning is looked at so long after it."""
LOOK_EVERY = 5
"""Duties are looked at every so many steps."""
STRAIGHT, GOING = 0.05, 0.08
"""Turning less than this (rad/s) and going faster than this (m/s) the robot goes straight."""
SPREAD_LEARNED = 0.1
"""Share of the latest voltage in the mean that the voltages are held against."""


class Figures:
    """Sums a run up, step by step."""

    def __init__(self) -> None:
        self._steps = self._volts = 0
        self._moved_at_first = math.nan
        self._began_ns = self._latest_ns = -1
        self._reports: Counter[str] = Counter()
        self._ages_ns: Counter[str] = Counter()
        self._left = self._right = 0.0
        self._silent: Counter[str] = Counter()
        self._seen: Counter[str] = Counter()
        self._lowest, self._mean, self._spread = math.inf, math.nan, 0.0

    def take(self, core: Core, given: StepReadings, decided: StepRecord) -> None:
        """Take a step in: what the core was given, what it decided."""
        now_ns = self._latest_ns = given.now_ns
        if self._began_ns < 0:
            self._began_ns = now_ns
        for device, reading in given.new:
            value = reading.value
            self._reports[device] += 1
            self._ages_ns[device] += now_ns - reading.taken_ns
            if device == "camera":
                self._take_frame(value)
            elif device == "battery":
                self._take_volts(core.known.signals.battery_rest_volts)
            elif isinstance(value, RangeValue):
                self._silent[device] += value.distance is None
        if now_ns - self._began_ns <= FIRST_NS:
            self._moved_at_first = math.hypot(*core.known.fixes.moved)
        self._steps += 1
        if self._steps % LOOK_EVERY == 0:
            estimate = core.known.filter
            if abs(estimate.heading_rate) < STRAIGHT and abs(estimate.speed) > GOING:
                self._left += abs(decided.drive.left)
                self._right += abs(decided.drive.right)

    def _take_frame(self, value: Any) -> None:
        for kind in {one.kind for one in getattr(value, "objects", ())}:
            self._seen[kind] += 1

    def _take_volts(self, volts: float) -> None:
        if volts != volts:
            return
        self._lowest = min(self._lowest, volts)
        if self._volts:
            self._spread += (volts - self._mean) ** 2
            self._mean += SPREAD_LEARNED * (volts - self._mean)
        else:
            self._mean = volts
        self._volts += 1

    def summed_up(self, core: Core) -> dict[str, float]:
        """Return the figures by name, with their units; those left out of which nothing is known."""
        known, estimate = core.known, core.known.filter
        figures = {
            "way / m": estimate.travelled,
            "slips": float(estimate.slips),
            "travel scale": 1.0 + estimate.scale,
            "track factor": estimate.track / known.robot.body.track,
            "moved by first fixes / m": self._moved_at_first,
            "heading noise factor": math.sqrt(estimate.sources["heading"].factor),
            "objects shown": float(known.targets.shown),
            "objects missed": float(known.targets.missed),
        }
        for name, source in estimate.sources.items():
            figures[f"{name} heard"], figures[f"{name} refused"] = float(source.heard), float(source.refused)
            if source.heard:
                figures[f"{name} off"] = source.innovations / source.heard
        for number, name in enumerate(known.errand.field.walls):
            if looks := known.fixes.looks.get(number):
                figures |= {f"wall {name} heard": float(looks.heard), f"wall {name} unheard": float(looks.unheard)}
                figures[f"wall {name} refused"] = float(looks.refused)
                figures[f"wall {name} beyond / m"] = looks.beyond / max(looks.heard - looks.refused, 1)
                figures[f"wall {name} refused off / m"] = looks.astray / max(looks.refused, 1)
        figures |= {f"frames with {kind}": float(self._seen[kind]) for kind in known.errand.kinds}
        figures |= self._of_reports(core)
        if self._left and self._right:
            figures["left duty / right duty"] = self._left / self._right
        if self._volts > 1:
            figures |= {"lowest rest / V": self._lowest, "rest spread / V": math.sqrt(self._spread / (self._volts - 1))}
        return {name: value for name, value in figures.items() if math.isfinite(value)}

    def _of_reports(self, core: Core) -> dict[str, float]:
        """Return of each device how many of the reports due came, and how old they were; of echoes, how many lacked."""
        figures, seconds = {}, max((self._latest_ns - self._began_ns) * 1e-9, 1e-9)
        for device, keys in core.known.robot.devices.fitted().items():
            if reports := self._reports[device]:
                figures[f"{device} reports"] = float(reports)
                figures[f"{device} reports / due"] = reports / (seconds * keys.rate)
                figures[f"{device} age / s"] = self._ages_ns[device] / reports * 1e-9
        return figures | {f"{device} without echo": float(silent) for device, silent in self._silent.items()}
