"""One step, from readings to commands; stops and holds; faults in a user's code."""

import math

import pytest

from rover.activities.activity import Activity
from rover.activities.registry import ACTIVITIES
from rover.behaviour.vocabulary import ActivitySpec, Progress
from rover.core import Action
from rover.devices.readings import (
    BatteryValue,
    HeadingValue,
    JawsValue,
    RangeValue,
    StopInputValue,
    WheelCounts,
)
from rover.events import HoldBack, Note, StateChange, Stop
from rover.motion.request import Request
from rover.stopping import LATCHED

STOP, RESET, RESUME, HOLD = Action("stop"), Action("reset"), Action("resume"), Action("hold")
WAIT = """
behaviour: Wait
start: wait
states:
  wait: {does: stand_still, exits: [{after: 60 s, go: over}]}
  over: {final: done}
"""


def of(records, kind):
    return [event for record in records for event in record.events if isinstance(event, kind)]


def duties(record):
    return record.drive.left, record.drive.right


class TestReadingsToSignals:
    @pytest.fixture
    def at_work(self, stepping):
        return stepping(WAIT)

    def test_battery(self, at_work):
        at_work.step(battery=BatteryValue(11.0, 2.0))
        assert at_work.core.known.signals.battery_volts == 11.0
        assert at_work.core.known.signals.battery_rest_volts == pytest.approx(11.0 + 2.0 * 0.150)

    def test_battery_without_a_current_sensor_takes_the_load_from_the_duties(self, at_work):
        at_work.step(battery=BatteryValue(11.0, None))
        assert at_work.core.known.signals.battery_rest_volts == pytest.approx(11.0)

    def test_range_without_an_echo_reads_what_the_robot_file_says(self, at_work):
        at_work.step(range=RangeValue(0.7))
        assert (at_work.core.known.signals.range_echo, at_work.core.known.signals.range_distance) == (True, 0.7)
        at_work.step(range=RangeValue(None))
        assert (at_work.core.known.signals.range_echo, at_work.core.known.signals.range_distance) == (False, 4.0)

    def test_jaws(self, at_work):
        at_work.step(gripper=JawsValue(0.4, True))
        assert (at_work.core.known.signals.jaws_opening, at_work.core.known.signals.jaws_holding) == (0.4, True)

    def test_a_jar_seen_often_enough_is_the_target(self, at_work, jar):
        at_work.steps(0.1, camera=jar(1.0, 0.2))
        signals = at_work.core.known.signals
        ahead = at_work.core.known.robot.devices.camera.ahead + math.cos(0.2)
        assert signals.target_known
        assert signals.target_seen
        assert signals.target_kind == "amber"
        assert signals.target_distance == pytest.approx(math.hypot(ahead, math.sin(0.2)))
        assert signals.target_bearing == pytest.approx(math.atan2(math.sin(0.2), ahead))
        assert signals.objects_known == 1

    def test_a_jar_outside_the_field_or_of_no_kind_is_no_target(self, at_work, jar):
        at_work.steps(0.1, camera=jar(3.4, 0.0))
        at_work.steps(0.1, camera=jar(1.0, 0.0, "purple"))
        assert not at_work.core.known.signals.target_known

    def test_counts_and_heading_move_the_pose(self, at_work):
        at_work.roll(2.0, 0.3)
        assert at_work.core.pose.x == pytest.approx(3.6, abs=0.03)
        at_work.steps(2.0, heading=HeadingValue(0.05, 0.0, 3))
        assert 0.01 < at_work.core.pose.heading < 0.05

    def test_the_pose_is_in_the_signals(self, at_work):
        at_work.roll(1.0, 0.2)
        signals, pose = at_work.core.known.signals, at_work.core.known.pose
        assert (signals.pose_x, signals.pose_y, signals.pose_heading) == pytest.approx(tuple(pose))
        assert signals.pose_travelled == pytest.approx(0.2, abs=0.02)
        assert signals.pose_sigma > 0.0


class TestCommands:
    def test_after_the_first_reports_the_robot_drives(self, stepping):
        at_work = stepping()
        first = at_work.step()
        assert first.state == "forward"
        last = at_work.steps(2.0)[-1]
        assert min(duties(last)) > 0.3

    def test_a_command_expires_and_its_sequence_counts_up(self, stepping):
        at_work = stepping()
        one, other = at_work.step(), at_work.step()
        assert one.drive.expires_ns == one.now_ns + 250_000_000
        assert other.drive.sequence == one.drive.sequence + 1

    def test_jaws_are_told_from_the_first_jaw_command_on(self, stepping):
        at_work = stepping(
            WAIT.replace("does: stand_still", "does: close_jaws").replace(
                "exits: [", "exits: [{when: failed, go: over}, "
            )
        )
        at_work.step()
        assert at_work.step().jaws.opening == 0.0
        assert stepping(WAIT).step().jaws is None

    def test_an_obstacle_holds_back_and_says_so(self, stepping):
        at_work = stepping()
        at_work.steps(2.0)
        done = at_work.steps(2.0, range=RangeValue(0.1))
        assert duties(done[-1]) == (0.0, 0.0)
        assert HoldBack("obstacle") in of(done, HoldBack)
        assert at_work.core.known.signals.motion_obstacle
        freed = at_work.steps(2.0, range=RangeValue(3.0))
        assert HoldBack("obstacle", ended=True) in of(freed, HoldBack)
        assert min(duties(freed[-1])) > 0.3

    def test_at_the_end_the_wheels_stand_still(self, stepping):
        at_work = stepping(WAIT.replace("60 s", "100 ms"))
        last = at_work.steps(0.5)[-1]
        assert (last.ending.result, last.ending.reason) == ("done", "over")
        assert duties(last) == (0.0, 0.0)


class TestStop:
    @pytest.fixture
    def moving(self, stepping):
        at_work = stepping()
        at_work.steps(2.0)
        return at_work

    @pytest.mark.parametrize(
        ("cause", "given"),
        [("operator", {"actions": (STOP,)}), ("the stop input is open", {"stop_input": StopInputValue(False)})],
    )
    def test_it_is_zero_in_the_same_step_and_is_recorded_once(self, moving, cause, given):
        actions = given.pop("actions", ())
        records = [moving.step(*actions, **given), *moving.steps(1.0)]
        assert {duties(record) for record in records} == {(0.0, 0.0)}
        assert of(records, Stop) == [Stop(cause)]

    def test_a_stop_wins_over_a_resume_of_the_same_step(self, moving):
        """IEC 60204-1, 9.2.3 (quoted by others): stop functions override start functions."""
        moving.step(STOP)
        moving.step(RESET)
        moving.step(RESUME, stop_input=StopInputValue(False))
        assert moving.core.stop.phase in LATCHED

    def test_reset_alone_moves_nothing(self, moving):
        moving.step(STOP)
        moving.step(RESET)
        assert {duties(record) for record in moving.steps(2.0)} == {(0.0, 0.0)}

    def test_resume_alone_moves_nothing(self, moving):
        moving.step(STOP)
        moving.step(RESUME)
        assert {duties(record) for record in moving.steps(2.0)} == {(0.0, 0.0)}

    def test_reset_and_resume_enter_the_outermost_state_afresh(self, moving):
        moving.step(STOP)
        moving.step(RESET)
        record = moving.step(RESUME)
        (change,) = of([record], StateChange)
        assert (change.entered, change.exit) == ("forward", "resumed")
        assert min(duties(moving.steps(2.0)[-1])) > 0.3

    def test_while_the_input_is_open_a_reset_is_worth_nothing(self, moving):
        moving.step(stop_input=StopInputValue(False))
        moving.step(RESET)
        moving.step(RESUME)
        assert moving.core.stop.phase in LATCHED
        moving.step(RESET, stop_input=StopInputValue(True))
        moving.step(RESUME)
        assert moving.core.stop.phase not in LATCHED

    def test_the_behaviours_time_stands_still(self, stepping):
        at_work = stepping(WAIT.replace("60 s", "1 s"))
        at_work.steps(0.9)
        at_work.step(STOP)
        assert at_work.steps(5.0)[-1].ending is None
        assert at_work.core.known.signals.run_time == pytest.approx(0.88, abs=0.05)

    def test_too_many_hold_backs_latch(self, moving):
        records = []
        for _ in range(25):
            records += moving.steps(0.6, range=RangeValue(0.1))  # it stands by then: what goes now goes by itself
            records += moving.steps(1.0, range=RangeValue(0.9))
        assert Stop("held back too often") in of(records, Stop)
        assert duties(records[-1]) == (0.0, 0.0)


class TestHold:
    def test_a_hold_brings_the_wheels_to_zero_and_a_resume_alone_ends_it(self, stepping):
        at_work = stepping()
        at_work.steps(2.0)
        assert duties(at_work.step(HOLD)) == (0.0, 0.0)
        assert duties(at_work.steps(2.0)[-1]) == (0.0, 0.0)
        assert at_work.core.stop.phase not in LATCHED
        at_work.step(RESUME)
        assert min(duties(at_work.steps(2.0)[-1])) > 0.3

    def test_a_stop_under_a_hold_needs_its_own_reset(self, stepping):
        at_work = stepping()
        at_work.step(HOLD)
        at_work.step(STOP)
        at_work.step(RESUME)
        assert at_work.core.stop.phase in LATCHED


ASKING = """
behaviour: Ask
start: ask
states:
  ask: {does: ask, exits: [{when: done, go: good}, {when: failed, go: bad}]}
  good: {final: done}
  bad: {final: failed}
"""


@pytest.mark.parametrize(("answer", "reason"), [("yes", "good"), ("no", "bad")])
def test_the_operators_answer_decides(stepping, answer, reason):
    at_work = stepping(ASKING)
    assert at_work.steps(5.0)[-1].ending is None
    at_work.step(Action("answer", answer))
    assert at_work.steps(0.1)[-1].ending.reason == reason


class Sound(Activity):
    """A user's own activity that works."""

    spec = ActivitySpec("as a user would write it")

    def __init__(self, known, values):
        self.progress = Progress.UNDER_WAY

    def step(self, known):
        return Request(0.2)


class RaisesAtOnce(Sound):
    def __init__(self, known, values):
        raise KeyError("no such setting")


class RaisesLater(Sound):
    def step(self, known):
        if known.now_ns > 1_000_000_000:
            raise ZeroDivisionError("at last")
        return Request(0.2)


class ReturnsNothing(Sound):
    def step(self, known):
        return None


OWN = """
behaviour: Own
start: own
states:
  own: {does: mine, exits: [{when: failed, go: caught}, {when: done, go: over}, {after: 10 s, go: over}]}
  caught: {does: stand_still, exits: [{after: 1 s, go: over}]}
  over: {final: done}
"""


class TestAUsersOwnActivity:
    """Rule R12: what it raises ends it as failed and is recorded with its traceback; the run goes on."""

    @pytest.mark.parametrize(
        ("activity", "error"),
        [
            (RaisesAtOnce, "KeyError: 'no such setting'"),
            (RaisesLater, "ZeroDivisionError"),
            (ReturnsNothing, "TypeError: an activity's step returns a Request, and this one returned None"),
        ],
    )
    def test_one_that_raises_has_failed(self, stepping, activity, error):
        at_work = stepping(OWN, {**ACTIVITIES, "mine": activity})
        records = at_work.steps(3.0)
        assert [change.entered for change in of(records, StateChange)] == ["own", "caught", "over"]
        (note,) = [note for note in of(records, Note) if note.kind == "fault"]
        assert error in note.text
        assert "Traceback" in note.text

    def test_the_wheels_slow_down_to_zero_after_it(self, stepping):
        at_work = stepping(OWN, {**ACTIVITIES, "mine": RaisesLater})
        assert duties(at_work.steps(1.8)[-1]) == (0.0, 0.0)

    def test_its_random_draws_depend_on_seed_state_and_entry_alone(self, stepping):
        drawn = []

        class Draws(Sound):
            def __init__(self, known, values):
                super().__init__(known, values)
                drawn.append(known.random.random())

        for seed in (1, 1, 2):
            stepping(OWN, {**ACTIVITIES, "mine": Draws}, seed).step()
        assert drawn[0] == drawn[1] != drawn[2]


def test_a_restarted_encoder_board_rebases_and_widens(stepping):
    at_work = stepping(WAIT)
    at_work.roll(1.0, 0.2)
    before = at_work.core.pose, at_work.core.track_point().sigma_x
    at_work.step(counts=WheelCounts(5, 5, boot=1))
    assert at_work.core.pose[:2] == pytest.approx(before[0][:2], abs=0.01)
    assert at_work.core.track_point().sigma_x > before[1]
