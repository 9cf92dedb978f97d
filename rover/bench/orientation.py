"""The heading sensor's errors: noise, slow drift, the bias of the place, and its steps."""

import math

from rover.bench.draws import NEVER_NS, drawn, stream
from rover.bench.floor import BiasField
from rover.files.bench import BenchFile
from rover.quantities import wrap


class Orientation:
    """Absolute heading in the field's frame with errors.

    Drift is an Ornstein-Uhlenbeck process in its exact discrete form (Gillespie, Exact numerical simulation of the
    Ornstein-Uhlenbeck process and its integral, 1996): it wanders, and stays within its standard deviation mostly.
    """

    def __init__(self, file: BenchFile, seed: int | str) -> None:
        self._errors = file.heading
        self._drift_time = drawn(file.heading.drift_time, stream(seed, "drift time"))
        self._field = BiasField(file.floor, seed)
        self._noise = stream(seed, "heading noise").gauss
        self._drift_noise = stream(seed, "heading drift").gauss
        self._step_draws = stream(seed, "bias steps")
        self._largest_step = file.floor.bias_step
        self._step_every = file.floor.bias_step_every
        self._next_step_ns = self._step_after(0)
        self._step = self._drift = 0.0
        self._last_ns = 0
        # What the drift keeps and gains in the time between two reports, which is mostly the same.
        self._passed_ns, self._kept, self._spread = 0, 1.0, 0.0

    def measure(self, heading: float, place: tuple[float, float], now_ns: int) -> float:
        """Return the heading (rad, counter-clockwise from field x) that the sensor reports."""
        self._wander(now_ns)
        errors = self._drift + self._step + self._field.at(*place) + self._noise(0.0, self._errors.noise)
        return wrap(heading + errors)

    def measure_rate(self, turn_rate: float) -> float:
        """Return the turn rate (rad/s) that the sensor reports."""
        return turn_rate + self._noise(0.0, self._errors.rate_noise)

    def _wander(self, now_ns: int) -> None:
        passed_ns = now_ns - self._last_ns
        self._last_ns = now_ns
        if passed_ns != self._passed_ns:
            self._passed_ns = passed_ns
            self._kept = math.exp(-passed_ns * 1e-9 / self._drift_time)
            self._spread = self._errors.drift * math.sqrt(1.0 - self._kept * self._kept)
        self._drift = self._kept * self._drift + self._drift_noise(0.0, self._spread)
        if now_ns >= self._next_step_ns:
            self._step = drawn((-self._largest_step, self._largest_step), self._step_draws)
            self._next_step_ns = self._step_after(now_ns)

    def _step_after(self, now_ns: int) -> int:
        if self._step_every <= 0.0:
            return NEVER_NS
        return now_ns + round(self._step_draws.expovariate(1.0 / self._step_every) * 1e9)
