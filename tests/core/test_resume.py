"""An errand taken up again after a change of battery: wider pose, a fix before anything else, the ledger as it was."""

import json

import pytest

from rover.activities.registry import ACTIVITIES
from rover.core import Action, Core
from rover.core.beginning import NO_FIX
from rover.devices.readings import MARKER, Detection, Detections
from rover.events import Note, Stop
from rover.files.errand import Zone


@pytest.fixture
def resumed(stepping):
    """Make a core that takes up again where another one ended, 60 cm before the tray's marker and facing it."""

    def make(marker=(3.8, 2.0)):
        made = stepping()
        robot, errand = made.core.known.robot, made.core.known.errand
        zone = Zone(x="3.4 m", y="2 m", width="1.2 m", depth="1.2 m").model_copy(update={"marker": marker})
        errand = errand.model_copy(update={"field": errand.field.model_copy(update={"zone": zone})})
        made.core = Core(robot, errand, made.core.engine.graph, ACTIVITIES, 1)
        made.step()
        saved = json.loads(json.dumps(made.core.saved(made.core.track_point())))
        saved["pose"] = [3.1, 2.0, 0.0]
        again = stepping()
        again.core = Core(robot, errand, made.core.engine.graph, ACTIVITIES, 1, saved)
        return again

    return make


def marker(distance):
    return Detections((Detection(MARKER, 0.0, distance, 0.01, 0.02, 0.1),))


def test_the_pose_is_the_last_one_and_wider(resumed):
    again = resumed()
    again.step()
    point = again.core.track_point()
    assert (point.x, point.y) == pytest.approx((3.1, 2.0))
    assert point.sigma_x == pytest.approx(0.102, abs=0.003)


def test_nothing_begins_before_the_marker_is_sighted(resumed):
    again = resumed()
    eye = again.core.known.robot.devices.camera.ahead
    again.steps(0.1)
    assert again.core.fix_due
    assert again.core.engine.path == ""
    again.steps(0.5, camera=marker(3.8 - 3.0 - eye))  # 10 cm nearer to the start than it was left
    assert not again.core.fix_due
    assert again.core.engine.path == "forward"
    assert again.core.pose.x == pytest.approx(3.0, abs=0.03)
    assert again.core.track_point().sigma_x < 0.05


def test_without_a_sight_of_it_the_robot_stops_and_tries_again_once_resumed(resumed):
    again = resumed()
    events = [event for record in again.steps(6.0) for event in record.events]
    assert Stop(NO_FIX) in events
    assert again.core.engine.path == ""
    again.step(Action("reset"))
    again.step(Action("resume"))
    events = [event for record in again.steps(1.0, camera=marker(0.6)) for event in record.events]
    assert [event.kind for event in events if isinstance(event, Note)][-1] == "fix"
    assert again.core.engine.path == "forward"


def test_without_a_marker_it_begins_at_the_start_as_a_fresh_run_does(resumed):
    again = resumed(marker=None)
    again.step()
    assert not again.core.fix_due
    assert (again.core.pose.x, again.core.pose.y) == (3.0, 2.0)
    assert again.core.engine.path == "forward"


def test_a_state_that_is_none_is_refused(stepping):
    core = stepping().core
    known = core.known
    with pytest.raises((KeyError, TypeError, ValueError)):
        Core(known.robot, known.errand, core.engine.graph, ACTIVITIES, 1, {"pose": [1.0]})
