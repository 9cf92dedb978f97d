"""The other behaviours of the project, and errands of the config folder as they are."""

import itertools
import math

import pytest

from rover.activities.legs_driven import NEAR
from rover.activities.travelling import BESIDE
from rover.events import HoldBack, Note, StateChange, Stop

SEEDS = (1, 2)


@pytest.fixture
def shipped(files, small_bay):
    """Rehearse an errand of the config folder, in a copy of it."""

    def run(name, seed):
        for path in (small_bay.ROOT / "config").glob("*.yaml"):
            (files.folder / "config" / path.name).write_bytes(path.read_bytes())
        return small_bay.rehearse(files.folder / "config" / f"{name}.yaml", seed)

    return run


def corners(run):
    """Return how far the robot has turned (rad) in each state, in order of the states."""
    changes = [
        (change.at_ns, change.event.entered) for change in run.happenings if isinstance(change.event, StateChange)
    ]
    ends = [*(at_ns for at_ns, _ in changes[1:]), run.ended_ns]
    for (begins, state), end in zip(changes, ends, strict=True):
        track = [pose.heading for pose in run.true_track if begins <= pose.at_ns <= end]
        yield state, sum(math.remainder(b - a, math.tau) for a, b in itertools.pairwise(track))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_rectangle_comes_back_to_its_start(shipped, seed):
    done = shipped("rectangle", seed)
    assert done.ended == ("done", "back", 0)
    end = done.run.true_track[-1]
    assert math.dist((end.x, end.y), (1.0, 1.0)) < 0.15


@pytest.mark.parametrize("seed", SEEDS)
def test_the_rectangle_has_four_corners_of_a_right_angle(shipped, seed):
    turns = [turned for state, turned in corners(shipped("rectangle", seed).run) if "corner" in state]
    assert [math.degrees(turned) for turned in turns] == pytest.approx([90.0] * 4, abs=15.0)


@pytest.mark.parametrize("seed", SEEDS)
def test_wandering_keeps_off_the_walls_until_its_time_is_over(shipped, seed):
    done = shipped("roam", seed)
    assert done.ended == ("done", "enough", 0)
    assert done.result.robot_time_s == pytest.approx(180.0, abs=0.1)
    assert all(0.1 < pose.x < 3.9 and 0.1 < pose.y < 2.9 for pose in done.run.true_track)
    assert done.states.count("away") >= 5
    assert done.run.events_of(Stop) == ()


def test_wandering_is_random_by_the_seed(shipped):
    ways = [[(pose.x, pose.y) for pose in shipped("roam", seed).run.true_track] for seed in (1, 2, 1)]
    assert ways[0] == ways[2] != ways[1]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_patrol_visits_its_places_in_turn_and_notes_what_it_sees(shipped, seed):
    done = shipped("patrol", seed)
    assert done.ended == ("done", "back", 0)
    assert done.states.count("look") == 4
    for place in ((5.0, 1.0), (5.0, 3.0), (3.0, 2.0), (1.0, 3.0)):
        # It has nothing to fix its position by: beside a jar at the place it is, as far as it knows.
        assert min(math.dist(place, (at.point.x, at.point.y)) for at in done.run.track) < BESIDE[-1] + NEAR
        assert min(math.dist(place, (pose.x, pose.y)) for pose in done.run.true_track) < 0.4
    assert any(note.kind == "seen" for note in done.run.events_of(Note))
    assert done.run.final_objects
    assert all(thing.place == "floor" for thing in done.run.final_objects)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_greenhouse_errand_brings_all_nine_jars(shipped, seed):
    done = shipped("greenhouse", seed)
    assert done.ended == ("done", "all_in", 9)
    assert done.run.events_of(Stop) == ()


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1, 21))
def test_the_greenhouse_errand_on_twenty_seeds(shipped, seed):
    done = shipped("greenhouse", seed)
    assert done.ended == ("done", "all_in", 9)
    assert done.result.worst_axis_error_m < 0.254


def test_one_seed_is_one_run(shipped):
    first, again = shipped("greenhouse", 3), shipped("greenhouse", 3)
    assert first.run.happenings == again.run.happenings
    assert first.run.track == again.run.track
    assert first.run.true_track == again.run.true_track
    assert first.result.finds == again.result.finds


def test_a_hold_back_at_the_power_up_ends_with_the_first_reports(shipped):
    holds = shipped("rectangle", 1).run.events_of(HoldBack)
    blind = [hold.ended for hold in holds if hold.cause == "counts and heading missing"]
    assert blind[:2] == [False, True]
