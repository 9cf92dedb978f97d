"""`rover run` with devices and outputs of one's own beside the built-in ones."""

from rover.events import HealthChange, Note

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
