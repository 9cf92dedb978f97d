"""What is counted as left in the tray by a robot that may stand elsewhere: fed with readings, it sees its jar there."""

import pytest

from rover.activities.places import gate_before
from rover.devices.readings import HeadingValue, JawsValue
from rover.errand.entries import Grip
from rover.events import Delivery, StateChange
from rover.quantities import wrap
from tests.core.conftest import STEP, folder, jar, stepping

__all__ = ["folder", "jar", "stepping"]

SET_DOWN = """
behaviour: Set down
start: turn_round
states:
  turn_round:
    does: turn
    with: {by: 180 deg}
    exits:
      - {when: done or failed, go: wait}
      - {after: 20 s, go: over}
  wait:
    does: stand_still
    exits:
      - {after: 1 s, go: set_down}
  set_down:
    does: set_down
    exits:
      - {when: done or failed, go: over}
      - {after: 60 s, go: over}
  over: {final: done}
"""


class OnItsWheels:
    """A robot that turns as its wheels do, and has what it set down in view."""

    def __init__(self, at_work, jar):
        self._at_work, self._jar = at_work, jar
        self.known = at_work.core.known
        self._track = self.known.filter.track
        self._last = 0.0

    def step(self):
        """Take a step, and return its events."""
        at_work, known = self._at_work, self.known
        left, right, _ = at_work.values["counts"]
        heading = (right - left) * known.robot.body.metres_per_count / self._track
        at_work.values["heading"] = HeadingValue(wrap(heading), (heading - self._last) / STEP, 3)
        self._last = heading
        if (place := known.ledger.setting_down) is not None:
            eye = known.targets.view.place(known.pose)
            at_work.values |= {"gripper": JawsValue(1.0, False), "camera": self._jar(max(0.05, eye[0] - place.x))}
        return at_work.step()

    def steps_until(self, state):
        for _ in range(round(60.0 / STEP)):
            record = self.step()
            yield from record.events
            if any(isinstance(event, StateChange) and event.entered == state for event in record.events):
                return


@pytest.fixture
def set_down(stepping, jar):
    """Set down an amber jar, the position good to so much (m) either way; return how that was entered."""

    def do(sigma):
        at_work = stepping(SET_DOWN)
        robot = OnItsWheels(at_work, jar)
        assert list(robot.steps_until("wait"))
        known = robot.known
        gate = gate_before(known.ground, known.ledger.free_slots[0], known.robot.body.gripper_reach)
        at_work.values["gripper"] = JawsValue(0.3, True)
        known.filter.x, known.filter.y = gate[:2]
        known.ledger.found(Grip("amber", 3.0, 2.0, 1e-4, 0.0, 1e-4))
        known.filter.lost(sigma)
        events = list(robot.steps_until("over"))
        return [event for event in events if isinstance(event, Delivery)], known

    return do


def test_as_sure_as_after_a_way_home_it_is_seen_there(set_down):
    (delivery,), known = set_down(0.07)
    assert delivery.known_by == "seen"
    assert len(known.ledger.delivered) == 1


def test_where_the_position_is_not_known_it_is_only_believed(set_down):
    """With both wheels counting half of their way a jar was set down 40 cm off, and seen where it was let go of."""
    (delivery,), known = set_down(0.2)
    assert delivery.known_by == "believed"
    assert "sure to 0.2" in delivery.why
    assert (known.ledger.delivered, known.ledger.believed) == ([], ["amber"])


def test_where_it_may_as_well_land_beside_the_tray_it_is_not_let_go_of(set_down):
    deliveries, known = set_down(0.45)
    assert deliveries == []
    assert known.ledger.carried == "amber"
