"""What is the same, the same but for its last digits, or different."""

import math

import pytest

from rover.events import Find, Health, HealthChange, HoldBack, Note, StateChange
from rover.session.comparison import TOLERANCE, distance, is_hosts

CHANGE = StateChange("look", "found", "when target.known", "here/collect.yaml:12", {"target.known": True, "x": 0.25})


@pytest.mark.parametrize(
    ("one", "other", "off"),
    [
        (1.5, 1.5, 0.0),
        (math.nan, math.nan, 0.0),
        (1.0, 1.0 + 1e-12, pytest.approx(1e-12, rel=1e-3)),
        (1e6, 1e6 + 1.0, pytest.approx(1e-6)),  # a share of what is large
        (1.0, math.nan, math.inf),
        (None, 0.0, math.inf),
        (True, 1.0, math.inf),
        (None, None, 0.0),
        (HoldBack("an echo"), HoldBack("an echo", ended=True), math.inf),
        (
            Find(1, "amber", 1.0, 2.0, 0.1, 0.0, 0.1),
            Find(1, "amber", 1.0, 2.0 + 1e-9, 0.1, 0.0, 0.1),
            pytest.approx(1e-9, rel=1),
        ),
        (Find(1, "amber", 1.0, 2.0, 0.1, 0.0, 0.1), Find(1, "teal", 1.0, 2.0, 0.1, 0.0, 0.1), math.inf),
        (HoldBack("x"), Note("x", "y"), math.inf),
        # of a place in a file the line counts, and not where the file lay
        (CHANGE, StateChange("look", "found", "when target.known", "/else/collect.yaml:12", CHANGE.values), 0.0),
        (CHANGE, StateChange("look", "found", "when target.known", "here/collect.yaml:13", CHANGE.values), math.inf),
        (CHANGE, StateChange("look", "found", "when target.known", CHANGE.where, {"target.known": True}), math.inf),
        # of a traceback the first and the last line
        (Note("fault", "raised:\n at /a\nValueError: x"), Note("fault", "raised:\n at /b\nValueError: x\n"), 0.0),
        (Note("fault", "raised:\nValueError: x"), Note("fault", "raised:\nValueError: y"), math.inf),
        # a number that is written out may be rounded otherwise in its last digit
        (Note("fix", "to x 1.234 m"), Note("fix", "to x 1.235 m"), TOLERANCE),
        (Note("fix", "to x 1.234 m"), Note("fix", "to x 1.236 m"), math.inf),
        (Note("fix", "slot 3, x 1.234 m"), Note("fix", "slot 4, x 1.234 m"), math.inf),
        (Note("fix", "slot 3, x 1.234 m"), Note("fix", "slot 3, x 9.234 m"), math.inf),
        (
            HealthChange("range", Health.FAULTY, "gives impossible values (RangeValue(distance=(1,)))"),
            HealthChange("range", Health.FAULTY, "gives impossible values (RangeValue(distance=[1]))"),
            0.0,
        ),
        (HealthChange("range", Health.FAULTY, "silent"), HealthChange("range", Health.FAULTY, "deaf"), math.inf),
    ],
)
def test_how_far_two_are_apart(one, other, off):
    assert distance(one, other) == off
    assert distance(other, one) == off


def test_notes_of_the_host_are_no_decisions():
    assert is_hosts(Note("loop", "3 steps skipped: the computer was too slow"))
    assert is_hosts(Note("fault", "camera: no frames"))
    assert not is_hosts(Note("fault", "activity of 'look' raised:\n..."))
    assert not is_hosts(Note("activity", "look failed: in the way"))
    assert not is_hosts(HoldBack("loop"))
