"""Replays where code of a person's own had a part: drivers need not be there, activities do."""

import shutil
import sys

import pytest
import yaml

from rover.devices.registry import LoadError, allow_folders
from rover.events import HealthChange
from rover.session.replay import FROM_READINGS, replay

from .replaying import ROOT, rehearsed, replayed

OWN = '''
import time
from rover import STILL, Activity, ActivitySpec, Fault, Reading, Request, RangeValue


class Nudge(Activity):
    spec = ActivitySpec("go a little forward")

    def __init__(self, known, values):
        self.steps = 0

    def step(self, known):
        self.steps += 1
        return self.done() if self.steps > 100 else Request(speed=0.1)


class Moody(Nudge):
    def step(self, known):
        return Request(speed=0.1 + 1e-3 * (time.monotonic_ns() % 7)) if super().step(known) else STILL


class Raises(Nudge):
    def step(self, known):
        raise RuntimeError("no luck")


class Bumper:
    """Reports what a person's own code may: plain things, faults, and what nobody can make anything of."""

    def __init__(self, options, context):
        self.sequence = 0

    def poll(self, now_ns):
        self.sequence += 1
        if self.sequence == 30:
            raise OSError("unplugged")
        values = {20: Fault("no contact"), 25: {"pressed": 3}, 26: {"other": True}, 27: [1], 40: {"pressed": None}}
        return [Reading(now_ns, self.sequence, values.get(self.sequence, {"pressed": self.sequence == 50}))]

    def close(self):
        pass


class Sonar(Bumper):
    def poll(self, now_ns):
        self.sequence += 1
        values = {10: (0.5,), 20: RangeValue("far"), 30: RangeValue(-1.0), 40: Fault("deaf")}
        return [Reading(now_ns, self.sequence, values.get(self.sequence, RangeValue(1.0 + 0.01 * self.sequence)))]
'''
BEHAVIOUR = """
behaviour: Nudge
start: nudge
states:
  nudge:
    does: "replay_lab:CLASS"
    exits: [{when: done, go: there}, {when: failed, go: over}, {after: 9 s, go: over}]
  there: {final: done}
  over: {final: failed}
"""


@pytest.fixture
def lab(tmp_path):
    """Rehearse with activities and drivers of one's own, in ``tmp_path / "own"``; returns the record."""
    for part in ("config", "behaviours"):
        shutil.copytree(ROOT / part, tmp_path / part)
    (tmp_path / "own").mkdir()
    (tmp_path / "own/replay_lab.py").write_text(OWN)
    before = list(sys.path)
    allow_folders([tmp_path / "own"])

    def run(activity, **devices):
        robot = yaml.safe_load((tmp_path / "config/cart.yaml").read_text())
        robot["devices"] |= devices
        (tmp_path / "config/cart.yaml").write_text(yaml.safe_dump(robot, sort_keys=False))
        (tmp_path / "behaviours/rectangle.yaml").write_text(BEHAVIOUR.replace("CLASS", activity))
        errand = (ROOT / "config/rectangle.yaml").read_text().partition("settings:")[0]
        (tmp_path / "config/rectangle.yaml").write_text(errand)
        return rehearsed(tmp_path / "run.sqlite", tmp_path / "config/rectangle.yaml", settings={})

    yield run
    sys.path[:] = before
    sys.modules.pop("replay_lab", None)


BUMPER = {"driver": "replay_lab:Bumper", "signals": {"pressed": "yes or no"}, "rate": "20 Hz"}
SONAR = {"driver": "replay_lab:Sonar", "rate": "20 Hz", "no_echo_reads": "4 m"}


@pytest.mark.parametrize("activity", ["Nudge", "Raises"])
def test_drivers_of_ones_own_need_not_be_there_and_whatever_they_said_is_given_again(lab, activity):
    path = lab(activity, bumper=BUMPER, range=SONAR)
    found = replayed(path)
    assert (found.difference, found.source) == (None, FROM_READINGS)
    assert {one.device for one in found.run.events_of(HealthChange)} >= {"bumper", "range"}


def test_an_activity_of_ones_own_has_to_be_there(lab, tmp_path):
    path, said = lab("Nudge"), []
    assert replay(path, 0.0, lambda *_: None, said.append).difference is None
    assert said == ["replay_lab:Nudge"]
    (tmp_path / "own/replay_lab.py").unlink()
    del sys.modules["replay_lab"]
    with pytest.raises(LoadError, match=r"^activity: cannot import 'replay_lab' .*--drivers\?$"):
        replayed(path)


def test_one_that_was_changed_since_is_named(lab, tmp_path):
    path = lab("Nudge")
    source = tmp_path / "own/replay_lab.py"
    source.write_text(OWN.replace("speed=0.1", "speed=0.12"))
    del sys.modules["replay_lab"]
    found = replayed(path)
    assert found.causes[0] == "replay_lab:Nudge: the file is not what it was when this was recorded"


def test_one_that_takes_something_from_elsewhere_is_suspected(lab):
    found = replayed(lab("Moody"))
    assert "'nudge' is done by replay_lab:Moody, your own" in found.causes[0]
