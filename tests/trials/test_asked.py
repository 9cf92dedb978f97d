"""What a campaign asks, as its summary is told."""

from pathlib import Path

import yaml

from rover.files.ranges import RangesFile
from rover.trials.asked import asked_by
from rover.trials.campaign import Campaign, Variant

ERRAND = Path("errand.yaml")
RANGES = """
ranges: Floors
draw:
  bench.floor.slip: {between: [0 %, 5 %]}
  bench.range.missing: {between: [0, 0.1]}
  bench.light: {one_of: [dim, bright]}
"""


def test_varied_values_have_places_in_si_where_they_are_numbers() -> None:
    variants = tuple(Variant(f"near={value}", ERRAND, {"near": value}) for value in ("20 cm", "1 in", 3, "far"))
    asked = asked_by(Campaign(variants, 10), "errand.yaml")
    assert (asked.compares, asked.count) == ("values", 10)
    assert asked.variants == ("near=20 cm", "near=1 in", "near=3", "near=far")
    assert asked.places == {"near=20 cm": 0.2, "near=1 in": 0.0254, "near=3": 3.0}


def test_a_safeguard_left_out_and_another_errand() -> None:
    without = Campaign((Variant("as it is", ERRAND), Variant("without fixes", ERRAND, without="fixes")), 10)
    against = Campaign((Variant("errand.yaml", ERRAND), Variant("other.yaml", Path("other.yaml"))), 10)
    assert [asked_by(one, "").compares for one in (without, against)] == ["safeguards", "errands"]


def test_units_of_what_is_drawn() -> None:
    ranges = RangesFile.model_validate(yaml.safe_load(RANGES))
    asked = asked_by(Campaign((Variant("", ERRAND),), 10, ranges=ranges), "errand.yaml")
    assert asked.units == {"bench.floor.slip": "%"}
