"""What a confirmation buys, against the binomial tail: `scipy.stats.binom.sf(k - 1, n, p)`."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from rover.activities.registry import specs
from rover.behaviour.build import Builder
from rover.behaviour.confirmation import BURST, FLICKER, binomial_tail, confirmation_costs
from rover.behaviour.engine import Engine
from rover.behaviour.vocabulary import Signals
from rover.files import load
from rover.files.robot import Robot

# Computed with scipy 1.17.1 and rounded: (k, n, p, chance, half a unit of the last figure)
TABLE = [
    (2, 3, 0.01, 2.98e-4, 5e-7),
    (2, 3, 0.05, 0.00725, 5e-6),
    (2, 3, 0.1, 0.028, 5e-4),
    (2, 3, 0.8, 0.896, 5e-4),
    (2, 3, 0.9, 0.972, 5e-4),
    (2, 3, 0.95, 0.99275, 5e-6),
    (3, 3, 0.01, 1e-6, 1e-15),
    (3, 3, 0.05, 1.25e-4, 1e-15),
    (3, 3, 0.1, 0.001, 1e-15),
    (3, 3, 0.8, 0.512, 1e-12),
    (3, 3, 0.9, 0.729, 1e-12),
    (3, 3, 0.95, 0.857375, 1e-12),
    (3, 5, 0.01, 9.8506e-6, 5e-11),
    (3, 5, 0.05, 0.001158125, 5e-10),
    (3, 5, 0.1, 0.00856, 5e-6),
    (3, 5, 0.8, 0.94208, 5e-6),
    (3, 5, 0.9, 0.99144, 5e-6),
    (3, 5, 0.95, 0.998841875, 5e-10),
]


@pytest.mark.parametrize(("needed", "of", "chance", "tail", "within"), TABLE)
def test_the_table(needed, of, chance, tail, within):
    assert binomial_tail(needed, of, chance) == pytest.approx(tail, abs=within, rel=0)


@given(st.integers(1, 60), st.data(), st.floats(1e-6, 1 - 1e-6))
@settings(max_examples=300)
def test_the_tail_is_scipys(of, data, chance):
    needed = data.draw(st.integers(0, of))
    assert binomial_tail(needed, of, chance) == pytest.approx(float(binom.sf(needed - 1, of, chance)), rel=1e-9)


@pytest.fixture
def rows(graph_of):
    """Return the rows of a behaviour whose one exit is confirmed so, by a camera of 10 Hz and a battery of 2 Hz."""
    robot = Robot.model_validate(
        {
            "robot": "Test cart",
            "body": {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"},
            "loop": "50 Hz",
            "devices": {
                "drive": {"driver": "simulated"},
                "counts": {"driver": "simulated"},
                "camera": {"driver": "simulated", "rate": "10 Hz"},
                "battery": {"driver": "simulated", "rate": "2 Hz"},
            },
        }
    )

    def make(condition, confirm):
        graph = graph_of(condition, confirm)
        return list(confirmation_costs(graph, robot, {}))

    return make


@pytest.fixture
def graph_of(tmp_path):
    """Return a behaviour whose one exit has a condition and a confirmation."""

    def make(condition, confirm):
        file = tmp_path / "b.yaml"
        exits = f"[{{when: {condition}, {confirm} go: a}}]"
        file.write_text(f"behaviour: T\nstart: a\nstates: {{a: {{does: stand_still, exits: {exits}}}}}")
        return Builder(specs()).build(load.load(file, "behaviour"))

    return make


@pytest.mark.parametrize(
    ("condition", "confirm", "delay", "samples"),
    [
        ("target.seen", "3 of 5", 0.2, (3, 5)),  # two more frames at 10 Hz
        ("target.seen", "1 of 3", 0.0, (1, 3)),
        ("target.seen and battery.volts < 10 V", "3 of 3", 1.0, (3, 3)),  # the slower one sets the pace
        ("target.known", "5 of 5", 0.08, (5, 5)),  # no device: the loop's 50 Hz
        ("target.seen", "for 2 s", 2.0, (21, 21)),  # 21 frames stand over 2 s at 10 Hz
        ("target.seen", "for 50 ms", 0.1, (2, 2)),  # a second frame must come, 100 ms after the first
        ("target.seen", "for 2050 ms", 2.1, (22, 22)),
    ],
)
def test_delay_and_independent_flicker(rows, condition, confirm, delay, samples):
    (row,) = rows(condition, f"confirm: {confirm},")
    assert row.added_delay_s == pytest.approx(delay)
    assert row.independent == pytest.approx(float(binom.sf(samples[0] - 1, samples[1], FLICKER)), rel=1e-9)


class Idle:
    def begin(self, state, values, entry):
        pass

    def cancel(self):
        pass

    def time_out(self, why):
        pass


@pytest.mark.parametrize("confirm", ["3 of 5", "1 of 3", "5 of 5", "for 2 s", "for 50 ms", "for 2050 ms", "for 100 ms"])
def test_the_engine_waits_as_long_as_the_row_says(graph_of, rows, confirm):
    """All frames of a 10 Hz camera are true; counted from the first of them to the decision."""
    engine, signals = Engine(graph_of("target.seen", f"confirm: {confirm},"), Idle()), Signals()
    signals.target_seen = signals.camera_ok = True
    engine.begin(0, signals)
    while len(engine.changes) == 1:
        signals.camera_n += 1
        signals.camera_t = signals.camera_n * 100_000_000
        engine.step(signals.camera_t, signals)
    assert (signals.camera_n - 1) / 10 == pytest.approx(rows("target.seen", f"confirm: {confirm},")[0].added_delay_s)


def test_without_a_confirmation_there_is_no_row(rows):
    assert rows("target.seen", "") == []


@pytest.mark.parametrize("needed", range(1, 8))
def test_bursts_by_counting_all_ways_the_other_samples_can_fall(rows, needed):
    """A burst of wrong samples stands in the window; each way of the rest is weighed by its chance (enumeration)."""
    (row,) = rows("target.seen", f"confirm: {needed} of 7,")
    rest = 7 - BURST
    chance = sum(
        FLICKER ** sum(wrong) * (1 - FLICKER) ** (rest - sum(wrong))
        for wrong in itertools.product((0, 1), repeat=rest)
        if BURST + sum(wrong) >= needed
    )
    assert row.burst == pytest.approx(chance, rel=1e-12)
