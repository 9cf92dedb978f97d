"""What a source of corrections has proved to be worth: its noise, its refusals, and a sensor's drift."""

import math
import random

import pytest

from rover.estimate.covariance import DRIFT_HOLDS, STATES
from rover.estimate.source import DRIFT_MOST, LEAST, MOST, REFUSALS_BEFORE_DOUBT, WAY_BEFORE_DOUBT, Drifting, Source

STATED = 0.025**2


@pytest.mark.parametrize("true", [0.2, 0.5, 1.0, 2.0, 5.0])
def test_the_noise_is_learned_by_the_innovations(true):
    """White noise of ``true`` times the stated deviation, beside a prediction as unsure as a fifth of that."""
    draws, source, predicted = random.Random(1), Source(), 0.04 * STATED
    factors = []
    for _ in range(1500):
        source.takes(draws.gauss(0.0, math.sqrt(predicted + true * true * STATED)), predicted, STATED)
        factors.append(source.factor)
    assert sum(factors[500:]) / 1000 == pytest.approx(true * true, rel=0.15)


@pytest.mark.parametrize("true_share", [0.0, 0.5, 1.5])
def test_a_prediction_that_is_surer_or_less_sure_than_it_says_tells_nothing_of_the_noise(true_share):
    """Six looks each time that a robot comes to a wall; on the way its position got less sure by another share."""
    draws, source, came, looked = random.Random(3), Source(), 4.0 * STATED, 0.05 * STATED
    factors = []
    for number in range(3000):
        predicted, share = (looked, 1.0) if number % 6 else (came, true_share)
        source.takes(draws.gauss(0.0, math.sqrt(share * predicted + 0.16 * STATED)), predicted, STATED)
        factors.append(source.factor)
    assert sum(factors[500:]) / 2500 == pytest.approx(0.16, abs=0.05)


def test_what_is_stated_counts_for_little_after_some_tens():
    draws, source = random.Random(4), Source()
    for _ in range(30):
        source.takes(draws.gauss(0.0, math.sqrt(0.16 * STATED)), 0.0, STATED)
    assert 0.2 < source.factor < 0.55


def test_what_comes_from_nowhere_now_and_then_hardly_counts():
    """One echo in a hundred is stray, at any distance."""
    draws, source = random.Random(2), Source()
    factors = []
    for number in range(2000):
        innovation = draws.uniform(-2.0, 2.0) if number % 100 == 0 else draws.gauss(0.0, math.sqrt(STATED))
        source.takes(innovation, 0.0, STATED)
        factors.append(source.factor)
    assert sum(factors) / 2000 == pytest.approx(1.0, abs=0.25)


def test_the_factor_has_bounds():
    quiet, loud = Source(), Source()
    for number in range(1000):
        quiet.takes(0.0, 0.0, STATED)
        loud.takes(-10.0 if number % 2 else 10.0, 0.0, STATED)
    assert (quiet.factor, loud.factor) == (LEAST, MOST)


def test_refusals_are_counted():
    source = Source()
    for number in range(3):
        source.refuse(0.3, 5.0 + number)
    assert (source.refused, source.refused_in_row) == (3, 3)


def test_one_that_passes_halves_them():
    source = Source()
    for _ in range(7):
        source.refuse(0.3, 1.0)
    source.accept([0.0] * STATES)
    assert source.refused_in_row == 3


def test_refusals_that_contradict_each_other_begin_anew():
    """What is off to either side by turns tells nothing of where the robot is."""
    source = Source()
    for number in range(40):
        source.refuse(0.3 if number % 2 else -0.3, 0.1 * number)
        assert source.refused_in_row <= 1
        assert not source.is_refused_for_long(0.1 * number, WAY_BEFORE_DOUBT)


class TestLeaning:
    """Looks that would each pass for noise, and tell the same together."""

    @staticmethod
    def drive(source, off, looks, draws):
        """Return by how much (m) a place 5 cm unsure is moved by looks of 12 cm of noise that are off alike."""
        place, variance = 0.0, 0.05**2
        for _ in range(looks):
            innovation = off - place + draws.gauss(0.0, 0.12)
            if source.takes(innovation, variance, 0.12**2):
                gain = variance / (variance + source.variance(0.12**2, variance, 0.0))
                place, variance = place + gain * innovation, (1.0 - gain) * variance + 0.005**2
        return place

    @pytest.mark.parametrize("seed", range(10))
    def test_looks_that_are_all_off_by_five_times_what_was_due_do_not_take_the_place_there(self, seed):
        assert self.drive(Source(), 0.25, 60, random.Random(seed)) < 0.2

    def test_looks_of_a_place_that_is_as_unsure_as_stated_all_count(self):
        draws, refused = random.Random(3), 0
        for _ in range(300):
            source, off = Source(), draws.gauss(0.0, 0.05)
            refused += abs(self.drive(source, off, 60, draws) - off) > 0.08
        assert refused <= 3

    def test_less_than_the_noise_that_is_stated_is_no_leaning_however_little_noise_there_is(self):
        """Of a marker that stands a centimetre off, sighted by a good camera, no sighting was taken any more."""
        source = Source()
        for _ in range(400):
            assert source.takes(0.35 * math.sqrt(STATED), 0.2 * STATED, STATED, 0.2 * STATED)
        assert source.factor < 0.2

    def test_where_they_lean_no_more_they_pass_soon(self):
        source = Source()
        for _ in range(100):
            source.takes(2.0 * math.sqrt(STATED), 0.0, STATED)
        passed = [source.takes(0.0, 0.0, STATED) for _ in range(40)]
        assert not passed[0]
        assert passed[-1]


@pytest.mark.parametrize("seed", range(5))
def test_what_stands_before_a_wall_never_passes_for_noise_whatever_strays_among_it(seed):
    """An unknown wall 26 cm before a known one, heard for two minutes; one echo in ten comes from nowhere."""
    source, draws = Source(), random.Random(seed)
    for _ in range(400):
        innovation = draws.uniform(-1.0, 1.0) if draws.random() < 0.1 else draws.gauss(-0.26, 0.01)
        if source.takes(innovation, 0.03**2, STATED):
            assert abs(innovation) < 0.2
            source.accept([0.0] * STATES)
        else:
            source.refuse(innovation, 0.0)


def test_long_refused_is_often_and_over_a_way():
    often, far = Source(), Source()
    for number in range(REFUSALS_BEFORE_DOUBT):
        often.refuse(0.3, 1.0)
        far.refuse(0.3, 1.0 + number)
    assert not often.is_refused_for_long(1.0, WAY_BEFORE_DOUBT)
    assert far.is_refused_for_long(10.0, WAY_BEFORE_DOUBT)


def test_one_refusal_long_ago_and_many_at_one_place_are_not_of_a_way():
    source = Source()
    source.refuse(0.3, 1.0)
    for _ in range(2 * REFUSALS_BEFORE_DOUBT):
        source.refuse(0.3, 13.0)
    assert not source.is_refused_for_long(13.0, WAY_BEFORE_DOUBT)
    assert source.is_refused_for_long(14.0, WAY_BEFORE_DOUBT)


def test_it_tells_by_how_much_it_has_moved_each_state():
    source = Source()
    source.accept([0.5] * STATES)
    source.accept([0.25] * STATES)
    assert source.moves == [0.75] * STATES


def test_what_it_is_measured_against_counts_in_the_gate():
    assert not Source().takes(0.1, 0.0, STATED)
    assert Source().takes(0.1, 0.0, STATED, least=0.05**2)


class TestDrifting:
    STATED = DRIFT_HOLDS * math.radians(0.5 / 60.0) ** 2

    def rate(self, drifting, degrees_a_minute, minutes):
        for minute in range(1, minutes + 1):
            growth = drifting.growth(math.radians(degrees_a_minute * minute), round(minute * DRIFT_HOLDS * 1e9))
        return growth

    def test_a_drift_of_three_degrees_a_minute_is_found(self):
        """In a minute its deviation is then three degrees, give or take."""
        growth = self.rate(Drifting(self.STATED), 3.0, 5)
        assert math.degrees(math.sqrt(growth * 60.0)) == pytest.approx(3.0, rel=0.1)

    def test_it_is_never_taken_for_less_than_stated_nor_for_anything(self):
        assert self.rate(Drifting(self.STATED), 0.0, 5) == self.STATED
        assert self.rate(Drifting(self.STATED), 100.0, 9) == DRIFT_MOST * self.STATED

    def test_between_the_minutes_it_says_nothing(self):
        assert Drifting(self.STATED).growth(1.0, 30_000_000_000) is None
