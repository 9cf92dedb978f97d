"""What is drawn for each trial."""

import pytest

from rover.files.ranges import RangesFile
from rover.trials.draws import draws

DRAW = {"bench.floor.slip": {"between": ["0 %", "10 %"]}, "bench.range.noise": {"between": ["1 cm", "2 cm"]}}


def ranges(sampling: str) -> RangesFile:
    return RangesFile.model_validate({"ranges": "Two", "sampling": sampling, "draw": DRAW})


def test_without_ranges_nothing_is_drawn() -> None:
    assert list(draws(None, 2, 1)) == [({}, {}), ({}, {})]


def test_of_a_latin_hypercube_each_part_of_each_range_is_tried_once() -> None:
    numbers = [drawn.numbers for drawn in draws(ranges("latin hypercube"), 10, 1)]
    assert sorted(int(one["bench.floor.slip"]) for one in numbers) == list(range(10))
    assert sorted(int(10 * one["bench.range.noise"]) for one in numbers) == list(range(10, 20))


def test_at_random_a_trial_draws_the_same_however_many_there_are() -> None:
    few, many = list(draws(ranges("random"), 3, 5)), list(draws(ranges("random"), 9, 5))
    assert many[:3] == few


def test_at_random_the_same_seed_draws_the_same_wherever_a_campaign_begins() -> None:
    assert list(draws(ranges("random"), 3, 5))[2] == next(draws(ranges("random"), 1, 7))


@pytest.mark.parametrize("sampling", ["random", "latin hypercube"])
def test_one_first_seed_gives_the_same_draws_again(sampling: str) -> None:
    assert list(draws(ranges(sampling), 4, 3)) == list(draws(ranges(sampling), 4, 3))
    assert list(draws(ranges(sampling), 4, 3)) != list(draws(ranges(sampling), 4, 4))


def test_values_are_as_in_a_file() -> None:
    drawn = next(draws(ranges("random"), 1, 1))
    assert drawn.values["bench.floor.slip"] == f"{drawn.numbers['bench.floor.slip']:g} %"
