"""Fault lines in a whole rehearsal: begun by the behaviour's states, and those that only a host can bring about."""

from itertools import pairwise

import pytest

from rover.events import HealthChange, StateChange


@pytest.mark.parametrize("state", ["pick_up", "pick_up/approach"])
def test_a_fault_begins_when_a_state_is_entered(collect, small_bay, state):
    done = collect([small_bay.JAR], faults=[f"on entering {state}: camera silent for 3 s"])
    entered = next(
        at_ns
        for at_ns, event in done.run.happenings
        if isinstance(event, StateChange) and f"{event.entered}/".startswith(f"{state}/")
    )
    changes = [
        (at_ns - entered) * 1e-9
        for at_ns, event in done.run.happenings
        if isinstance(event, HealthChange) and event.device == "camera" and at_ns > entered
    ]
    lost, back = changes[:2]
    assert 0.1 < lost < 1.5
    assert 3.0 <= back < 3.5


def test_stop_pressed_ends_the_rehearsal(collect, small_bay):
    done = collect([small_bay.JAR], faults=["at 4 s: stop pressed"])
    assert done.result.result == "stopped"
    assert "stop was pressed" in done.result.reason
    assert done.result.robot_time_s == pytest.approx(4.0, abs=0.1)


def test_a_stalled_runtime_takes_no_step_and_goes_on(collect, small_bay):
    """Its commands end meanwhile, so that the wheels come to rest by themselves."""
    done = collect([small_bay.JAR], faults=["at 4 s: runtime stalled for 600 ms"])
    assert done.result.result == "done"
    samples = [(earlier, later) for earlier, later in pairwise(sample.at_ns for sample in done.run.track)]
    longest = max(samples, key=lambda pair: pair[1] - pair[0])
    assert 0.6 <= (longest[1] - longest[0]) * 1e-9 < 0.8
    assert longest[0] == pytest.approx(4e9, abs=0.2e9)


def test_one_seed_with_faults_at_random_gives_one_run(collect, small_bay):
    faults = ["at random every 5 s: heading noisy by 10 deg for 1 s", "at random every 9 s: held jar slips"]
    first, again = (collect([small_bay.JAR], faults=faults) for _ in range(2))
    assert first.run.happenings == again.run.happenings
    assert first.run.happenings != collect([small_bay.JAR], 2, faults=faults).run.happenings
