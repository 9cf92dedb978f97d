"""`rover run` with devices and outputs of one's own beside the built-in ones."""

import pytest

from rover.events import HealthChange, Note

pytestmark = pytest.mark.real_time

OWN = """
from rover import RangeValue, Reading


class Sensor:
    def __init__(self, options, context):
        self.sequence = 0

    def poll(self, now_ns):
        self.sequence += 1
        return [Reading(now_ns, self.sequence, self.value)]

    def close(self):
        pass


class Bumper(Sensor):
    value = {"pressed": False}


class Rear(Sensor):
    value = RangeValue(2.0)


class Lamp:
    def __init__(self, options, context):
        self.log = options["log"]

    def apply(self, command, now_ns):
        with open(self.log, "a") as log:
            log.write(f"{command.value:g} ")

    def close(self):
        pass
"""
BEHAVIOUR = """
behaviour: Light and go
start: light
states:
  light: {does: set_outputs, with: {lamp: 100 %}, exits: [{when: done, go: on}, {after: 1 s, go: over}]}
  on:
    does: run_straight
    with: {length: 20 cm}
    exits: [{when: done and not bumper.pressed, go: there}, {when: failed, go: over}, {after: 20 s, go: over}]
  there: {final: done}
  over: {final: failed}
"""


def test_a_run_begins_drives_and_ends_with_them(stand):
    drivers = stand.own_module("my_things", OWN)
    lamp = stand.folder / "lamp"
    stand.robot["devices"] |= {
        "bumper": {"driver": "my_things:Bumper", "contact": "front", "signals": {"pressed": "yes or no"}},
        "rear": {"family": "range", "driver": "my_things:Rear", "at": {"ahead": "-12 cm", "towards": "180 deg"}},
    }
    stand.robot["outputs"] = {"lamp": {"driver": "my_things:Lamp", "rest": "0 %", "log": str(lamp)}}
    (stand.folder / "behaviours/light.yaml").write_text(BEHAVIOUR)
    stand.write("light.yaml")
    stand.emulate()
    code, result, said = stand.run("--enable-motion", "--drivers", drivers)
    assert (code, result["result"]) == (0, "done"), said
    assert "bumper" in said
    run = stand.record()
    assert {"bumper", "rear"} <= {change.device for change in run.events_of(HealthChange)}
    assert "lamp: 1" in [note.text for note in run.events_of(Note) if note.kind == "output"]
    told = lamp.read_text().split()
    assert (told[0], "1" in told, told[-1]) == ("0", True, "0")


def test_at_the_end_it_says_which_devices_are_faulty_and_what_an_activity_raised(stand):
    wrong = (
        OWN.replace('{"pressed": False}', '{"presed": False}')
        + """

from rover import Activity, ActivitySpec


class Odd(Activity):
    spec = ActivitySpec("raise")

    def __init__(self, known, values):
        raise ValueError("not today")
"""
    )
    drivers = stand.own_module("my_things", wrong)
    bumper = {"driver": "my_things:Bumper", "signals": {"pressed": "yes or no"}}
    stand.robot["devices"]["bumper"] = bumper
    ends = "exits: [{when: done or failed, go: over}, {after: 20 s, go: over}]"
    behaviour = f"""
behaviour: Odd
start: odd
states:
  odd: {{does: "my_things:Odd", {ends}}}
  over: {{final: done}}
"""
    (stand.folder / "behaviours/odd.yaml").write_text(behaviour)
    stand.write("odd.yaml")
    stand.emulate()
    code, _, said = stand.run("--enable-motion", "--drivers", drivers)
    assert code == 2, said  # a robot with a faulty device does not begin
    assert "reports 'presed', which the robot file does not declare; did you mean 'pressed'?" in said
    stand.own_module("my_things", wrong.replace("presed", "pressed"))
    code, _, said = stand.run("--enable-motion", "--drivers", drivers)
    assert (code, "activity of 'odd' raised: ValueError: not today" in said) == (0, True), said
