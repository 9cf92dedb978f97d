"""The tray's whole life: what stands in it or beside it at the start, what it has no room for, and how it fills."""

import math

import pytest

from rover.events import ObjectEvent

TRAY = {"x": "60 cm", "y": "1.2 m", "width": "80 cm", "depth": "80 cm", "entry": "180 deg"}
SMALL = {**TRAY, "width": "25 cm", "depth": "25 cm"}


def at(x, y, kind="amber"):
    return {"kind": kind, "x": f"{x} m", "y": f"{y} m"}


def place_of(done, number):
    """Return where an object (1 is the first) is at the end: x, y in m, and tray, floor or held."""
    one = next(one for one in done.run.final_objects if one.id == str(number))
    return one.x, one.y, one.place


def moved(done, number, x, y):
    return math.dist(place_of(done, number)[:2], (x, y))


@pytest.fixture
def into(small_bay, collect):
    """Rehearse with another tray: ``into(SMALL, [at(2.5, 1.3)], expect=1)``."""

    def run(zone, objects, seed=1, **keys):
        return collect(objects, seed, keys={"field": {**small_bay.BAY, "zone": zone}, "expect": None, **keys})

    return run


def test_kinds_that_the_order_leaves_out_are_left_and_the_errand_is_done(collect, small_bay):
    done = collect([small_bay.JAR, small_bay.FAR_JAR], keys={"order": ["amber"], "expect": None})
    assert done.ended == ("done", "all_in", 1)
    assert (done.result.left, done.result.objects, done.result.is_clean) == (0, 1, True)


def test_a_full_tray_is_an_ending_of_its_own(into, small_bay):
    done = into(SMALL, [small_bay.JAR, small_bay.FAR_JAR])
    assert done.ended == ("failed", "tray_full", 1)
    assert (done.result.delivered, done.result.left) == (1, 1)


def test_with_all_in_a_tray_that_is_full_is_no_trouble(into, small_bay):
    assert into(SMALL, [small_bay.JAR]).ended == ("done", "all_in", 1)


@pytest.mark.parametrize("seed", [1, 2])
def test_what_stands_in_the_tray_at_the_start_is_not_counted_and_not_touched(into, small_bay, seed):
    done = into(TRAY, [small_bay.JAR, at(0.75, 1.2, "teal"), at(0.35, 1.4)], seed)
    assert done.ended == ("done", "all_in", 1)
    assert (done.result.delivered, done.result.objects) == (1, 1)
    assert done.result.truth.touched_in_tray == 0
    assert moved(done, 2, 0.75, 1.2) < 0.02
    assert moved(done, 3, 0.35, 1.4) < 0.02
    assert [one.kind for one in done.run.events_of(ObjectEvent) if one.what == "seen in the tray"]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_stands_behind_one_in_the_tray_is_another(into, seed):
    """Seen from far off, it cannot be told from the one in the tray; from near it can, and is fetched."""
    done = into(TRAY, [at(0.8, 1.45), at(0.6, 1.8)], seed)
    assert done.ended == ("done", "all_in", 1)
    assert done.result.truth.touched_in_tray == 0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_tray_filled_by_others_is_full(into, small_bay, seed):
    """From afar it seems to stand in the way to the tray: that is no reason not to go and see."""
    done = into(SMALL, [small_bay.JAR, at(0.6, 1.2, "teal")], seed)
    assert done.ended == ("failed", "tray_full", 0)
    assert moved(done, 2, 0.6, 1.2) < 0.02


def test_what_stands_beside_the_tray_is_fetched(into):
    """4 cm off its edge."""
    done = into(TRAY, [at(1.04, 1.2)])
    assert done.ended == ("done", "all_in", 1)
