"""The fetching errand with a device lost for a while or for good: a delivered errand, or a safe stop."""

import itertools

import pytest

from rover.events import HealthChange, HoldBack, Stop

SEED = 2
ALL_IN = ("done", "all_in", 1)


def changes(done, device):
    return [change.health.value for change in done.run.events_of(HealthChange) if change.device == device]


@pytest.mark.parametrize("at", [3, 7, 12, 18, 22])
@pytest.mark.parametrize(
    ("device", "fault"),
    [
        ("heading", "heading silent for 6 s"),
        ("counts", "counts silent for 3 s"),
        ("range", "range silent for 5 s"),
        ("counts", "link silent for 3 s"),
    ],
)
def test_a_device_that_is_silent_for_a_while_delays_the_errand_only(collect, small_bay, device, fault, at):
    done = collect([small_bay.JAR], SEED, faults=[f"at {at} s: {fault}"])
    assert done.ended == ALL_IN
    assert "overdue" in changes(done, device)


def test_a_camera_that_is_silent_while_looking_delays_the_errand_only(collect, small_bay):
    done = collect([small_bay.JAR], SEED, faults=["at 1 s: camera silent for 8 s"])
    assert done.ended == ALL_IN
    assert changes(done, "camera") == ["ok", "overdue", "ok"]


@pytest.mark.parametrize("at", range(2, 20, 3))
def test_a_camera_lost_in_any_state_never_leads_to_a_false_delivery(collect, small_bay, at):
    """The jar in the jaws cannot be seen then, and may be left on the way; but what is told is true."""
    done = collect([small_bay.JAR], SEED, faults=[f"at {at} s: camera silent for 5 s"])
    assert done.result.truth.delivered >= done.result.delivered
    assert not done.result.is_clean or done.result.truth.delivered == 1
    assert (done.result.result == "done") == (done.result.truth.delivered == 1)


@pytest.mark.parametrize("at", [3, 12, 18])
@pytest.mark.parametrize("fault", ["range silent", "range no echo", "counts jump of 900"])
def test_the_errand_does_not_need_it(collect, small_bay, fault, at):
    assert collect([small_bay.JAR], SEED, faults=[f"at {at} s: {fault}"]).ended == ALL_IN


def test_a_drive_that_hears_nothing_while_it_should_drive_latches_a_stop(collect, small_bay):
    """Nobody can tell it from counts that stand still, with which it would go on blindly: three ways are tried."""
    done = collect([small_bay.JAR], SEED, faults=["at 3 s: drive silent for 5 s"])
    why = "both sides are driven and not one count comes: wheels or counts stand still"
    assert done.ended == ("stopped", why, 0)


def true_way(done, since):
    track = [point for point in done.run.true_track if point.at_ns > since * 1e9]
    return sum(abs(b.x - a.x) + abs(b.y - a.y) for a, b in itertools.pairwise(track))


def test_without_counts_the_wheels_stand_still_and_the_errand_fails(collect, small_bay):
    done = collect([small_bay.JAR], SEED, faults=["at 3 s: counts silent"])
    assert done.ended == ("failed", "cannot_move", 0)
    assert done.result.robot_time_s < 70.0
    assert "counts missing" in [hold.cause for hold in done.run.events_of(HoldBack)]
    assert true_way(done, 6.0) == 0.0


def test_without_a_camera_the_errand_fails_and_the_robot_is_home_at_the_end(collect, small_bay):
    done = collect([small_bay.JAR], SEED, faults=["at 0 s: camera silent"])
    assert done.ended == ("failed", "some_left", 0)
    home = done.run.true_track[-1]
    assert (home.x, home.y) == pytest.approx((1.5, 1.2), abs=0.15)


@pytest.mark.parametrize("at", range(3, 15))
def test_at_a_low_battery_the_robot_goes_home(collect, small_bay, at):
    """Wherever it is, and also with a jar in jaws that have only just closed."""
    done = collect([small_bay.JAR], SEED, faults=[f"at {at} s: battery low"])
    assert done.ended == ("failed", "some_left", 0)
    assert done.states[-2:] == ["head_home", "some_left"]
    home = done.run.true_track[-1]
    assert (home.x, home.y) == pytest.approx((1.5, 1.2), abs=0.15)


def test_an_open_stop_input_stops_at_once_and_for_good(collect, files, small_bay):
    """The input closes again after a second: a latched stop needs more than that."""
    robot = files.with_devices(stop_input={"driver": "simulated"})
    done = collect([small_bay.JAR], SEED, robot=robot, faults=["at 6 s: stop input open for 1 s"])
    assert done.ended == ("stopped", "the stop input is open", 0)
    assert [stop.cause for stop in done.run.events_of(Stop)] == ["the stop input is open"]
    assert done.result.robot_time_s == pytest.approx(6.0, abs=0.1)


def test_a_stop_input_that_does_not_report_holds_the_wheels(collect, files, small_bay):
    robot = files.with_devices(stop_input={"driver": "simulated"})
    done = collect([small_bay.JAR], SEED, robot=robot, faults=["at 6 s: stop input silent for 5 s"])
    assert done.ended == ALL_IN
    assert "stop input missing" in [hold.cause for hold in done.run.events_of(HoldBack)]
    still = [point for point in done.run.true_track if 7.5e9 < point.at_ns < 11e9]
    assert len({(point.x, point.y) for point in still}) == 1


@pytest.mark.parametrize("fault", ["heading silent for 6 s", "link silent for 3 s"])
def test_a_returning_device_causes_no_jump_in_what_is_commanded(collect, small_bay, fault):
    """A duty changes by at most so much from one tenth of a second to the next."""
    done = collect([small_bay.JAR], SEED, faults=[f"at 12 s: {fault}"])
    duties = [sample.duties for sample in done.run.track if 12e9 < sample.at_ns < 20e9]
    assert max(abs(b[0] - a[0]) for a, b in itertools.pairwise(duties)) < 0.6


def test_a_switch_at_the_jaws_tells_of_an_empty_grip(collect, files, small_bay):
    gripper = files.robot["devices"]["gripper"] | {"feedback": "switch"}
    done = collect([small_bay.JAR], SEED, robot=files.with_devices(gripper=gripper), gripper={"missed": "60 %"})
    assert done.ended == ALL_IN
    backed_off = done.states.index("pick_up/back_off")
    assert done.states[backed_off - 1] == "pick_up/confirm_grip"
