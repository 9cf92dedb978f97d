"""Devices by names of one's own: what they report becomes signals under the rules of the built-in ones."""

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from rover.devices.readings import BatteryValue, Detection, Detections, RangeValue
from rover.events import Health, HealthChange, HoldBack
from rover.files import yaml_source
from rover.files.robot import Robot

REAR = {"family": "range", "driver": "simulated", "at": {"ahead": "-12 cm", "towards": "180 deg"}}
BUMPER = {"driver": "my_lab.bumper:Bumper", "contact": "front", "signals": {"pressed": "yes or no"}}
FLOOR = {
    "driver": "my_lab.line:LineSensor",
    "signals": {"shade": ["dark", "light"], "height": "mm", "marks": "whole number"},
}


def conditional(when, confirm=""):
    confirmed = f", confirm: {confirm}" if confirm else ""
    return f"""
behaviour: Wait for it
start: wait
states:
  wait: {{does: stand_still, exits: [{{when: {when}{confirmed}, go: over}}, {{after: 60 s, go: late}}]}}
  over: {{final: done}}
  late: {{final: failed}}
"""


@pytest.fixture
def cart_going_without():
    """Return how the cart goes on without a bumper by a name."""
    path = Path(__file__).parents[2] / "config/cart.yaml"

    def going(name, how):
        values = yaml_source.read(path, path.name).values
        changed = {"devices": values["devices"] | {name: BUMPER}, "limits": {"without": {name: how}}}
        return Robot.model_validate(values | changed).going_without(name)

    return going


def events(records, kind):
    return [event for record in records for event in record.events if isinstance(event, kind)]


class TestSignals:
    def test_those_of_a_family_are_those_of_its_name(self, stepping):
        robot = stepping(devices={"rear": REAR, "spare": {"family": "battery", "driver": "simulated"}})
        robot.steps(0.1, rear=RangeValue(0.7), spare=BatteryValue(8.0, 1.0))
        signals = robot.core.known.signals
        assert (signals.value("rear.distance"), signals.value("rear.echo"), signals.rear_ok) == (0.7, True, True)
        assert signals.value("spare.volts") == 8.0
        assert signals.value("spare.rest_volts") == pytest.approx(8.15)
        assert signals.range_distance == robot.core.known.robot.devices.range.no_echo_distance

    def test_a_further_camera_counts_what_it_sees_and_chooses_no_target(self, stepping):
        robot = stepping(devices={"rear_camera": {"family": "camera", "driver": "simulated"}})
        seen = Detections((Detection("amber", 0.0, 0.5, 0.01, 0.02, 0.1),))
        robot.steps(1.0, rear_camera=seen)
        signals = robot.core.known.signals
        assert (signals.value("rear_camera.objects"), signals.target_known) == (1, False)

    def test_declared_ones_come_in_si_units(self, stepping):
        robot = stepping(devices={"floor": FLOOR})
        robot.steps(0.1, floor={"shade": "dark", "height": 4.5, "marks": 3})
        signals = robot.core.known.signals
        assert [signals.value(f"floor.{name}") for name in ("shade", "marks")] == ["dark", 3]
        assert signals.value("floor.height") == pytest.approx(0.0045)

    def test_what_a_report_leaves_out_is_not_known(self, stepping):
        robot = stepping(devices={"floor": FLOOR})
        robot.steps(0.1, floor={"shade": "dark", "height": None})
        signals = robot.core.known.signals
        assert all(math.isnan(signals.value(f"floor.{name}")) for name in ("height", "marks"))
        assert signals.floor_ok

    @pytest.mark.parametrize(
        ("value", "why"),
        [
            ({"shade": "grey"}, "reports 'grey' for 'shade', which is one of dark, light"),
            ({"marks": 1.5}, "reports 1.5 for 'marks', which is a whole number"),
            ({"marks": True}, "reports True for 'marks', which is a whole number"),
            ({"height": "4 mm"}, "reports '4 mm' for 'height', which is a length"),
            ({"shad": "dark"}, "reports 'shad', which the robot file does not declare; did you mean 'shade'?"),
            ({"shade": ["dark"]}, "reports ['dark'] for 'shade', which is one of dark, light"),
            ({"marks": 2**70}, "reports 1180591620717411303424 for 'marks', which is a whole number"),
            ({"height": 10**5000}, "reports int for 'height', which is a length"),
            ({7: "dark"}, "reports 7, which the robot file does not declare"),
            (4.5, "reports no mapping from its signals to their values"),
            (RangeValue(0.5), "reports no mapping from its signals to their values"),
        ],
    )
    def test_what_it_does_not_declare_makes_it_faulty(self, stepping, value, why):
        robot = stepping(devices={"floor": FLOOR})
        robot.steps(0.1, floor={"shade": "dark"})
        said = events(robot.steps(0.1, floor=value), HealthChange)
        assert [(one.device, one.health, one.why) for one in said] == [("floor", Health.FAULTY, why)]
        assert [one.health for one in events(robot.steps(0.1, floor={"shade": "light"}), HealthChange)] == [Health.OK]

    @pytest.mark.parametrize(
        ("name", "odd"),
        [
            ("rear", SimpleNamespace(distance=0.1)),  # the limits would not hear it
            ("rear", RangeValue(np.array([0.1, 0.2]))),
            ("heading", SimpleNamespace(angle=0.0, rate=0.0, calibration=3)),
            ("battery", SimpleNamespace(volts=8.0, amps=0.0)),
        ],
    )
    def test_a_look_alike_of_a_familys_value_makes_the_device_faulty(self, stepping, name, odd):
        robot = stepping(devices={"rear": REAR})
        robot.steps(0.1, rear=RangeValue(2.0))
        said = events(robot.steps(0.1, **{name: odd}), HealthChange)
        assert [(one.device, one.health) for one in said] == [(name, Health.FAULTY)]

    def test_one_that_falls_silent_is_overdue_and_the_robot_goes_on(self, stepping, creeping):
        robot = stepping(creeping, devices={"floor": FLOOR})
        robot.steps(1.0, floor={"shade": "dark"})
        robot.silent.add("floor")
        records = robot.steps(1.0)
        assert [(one.device, one.health) for one in events(records, HealthChange)] == [("floor", Health.OVERDUE)]
        assert records[-1].drive.left > 0.0


class TestConditions:
    def test_a_bumper_is_read_as_a_built_in_signal_is(self, stepping):
        robot = stepping(conditional("bumper.pressed", "3 of 3"), devices={"bumper": BUMPER})
        robot.steps(0.2, bumper={"pressed": False})
        ends = [record.ending for record in robot.steps(0.2, bumper={"pressed": True})]
        assert [ending is None for ending in ends[:4]] == [True, True, False, False]

    def test_words_and_units(self, stepping):
        robot = stepping(conditional("floor.shade == dark and floor.height < 1 cm"), devices={"floor": FLOOR})
        assert robot.steps(0.2, floor={"shade": "dark", "height": 11.0})[-1].ending is None
        assert robot.steps(0.2, floor={"shade": "light", "height": 9.0})[-1].ending is None
        assert robot.steps(0.2, floor={"shade": "dark", "height": 9.0})[-1].ending.result == "done"

    @pytest.mark.parametrize("when", ["bumper.pressed", "not bumper.pressed", "bumper.pressed == false"])
    @pytest.mark.parametrize("reported", [{}, {"pressed": None}])
    def test_unknown_fires_nothing_nor_its_negation(self, stepping, when, reported):
        robot = stepping(conditional(when), devices={"bumper": BUMPER})
        assert robot.steps(1.0, bumper=reported)[-1].ending is None
        assert robot.core.refusals["unknown conditions"] > 10

    def test_a_missing_one_is_read_by_its_ok(self, stepping):
        robot = stepping(conditional("not bumper.ok", "for 500 ms"), devices={"bumper": BUMPER})
        assert robot.steps(1.0, bumper={"pressed": False})[-1].ending is None
        robot.silent.add("bumper")
        assert robot.steps(1.0)[-1].ending.result == "done"

    def test_only_reports_after_entry_count(self, stepping):
        robot = stepping(conditional("bumper.pressed"), devices={"bumper": BUMPER})
        robot.step(bumper={"pressed": True})
        robot.silent.add("bumper")
        assert robot.steps(0.1)[-1].ending is None


class TestWhatHoldsBack:
    def test_a_rear_range_finder_holds_reversing_back(self, stepping):
        robot = stepping(
            """
behaviour: Back
start: back
states:
  back: {does: reverse, with: {length: 1 m}, exits: [{when: done or failed, go: over}, {after: 60 s, go: over}]}
  over: {final: failed}
""",
            devices={"rear": REAR},
        )
        assert robot.steps(1.0, rear=RangeValue(2.0))[-1].drive.left < 0.0
        records = robot.steps(1.0, rear=RangeValue(0.05))
        assert HoldBack("obstacle behind") in events(records, HoldBack)
        assert records[-1].drive[:2] == (0.0, 0.0)

    def test_a_bumper_does_in_the_very_step(self, stepping):
        robot = stepping(devices={"bumper": BUMPER})
        assert robot.steps(1.5, bumper={"pressed": False})[-1].drive.left > 0.0
        record = robot.step(bumper={"pressed": True})
        assert HoldBack("contact front") in record.events
        assert record.drive[:2] == (0.0, 0.0)

    def test_how_it_goes_on_is_told_of_devices_by_any_name(self, cart_going_without):
        """Python knows ``copy`` as something else of the file's models."""
        assert cart_going_without("copy", "2 s").seconds == 2.0

    @pytest.mark.parametrize("device", ["rear", "bumper"])
    def test_without_one_the_robot_goes_slowly(self, stepping, device):
        robot = stepping(devices={"rear": REAR, "bumper": BUMPER})
        robot.steps(1.5, rear=RangeValue(2.0), bumper={"pressed": False})
        robot.silent.add(device)
        assert HoldBack(f"{device} missing") in events(robot.steps(1.0), HoldBack)
        assert robot.core.known.signals.motion_slowed
