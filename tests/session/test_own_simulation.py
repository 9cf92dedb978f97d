"""A simulation of a person's own is held to the protocol: each mistake is one line that names it and what is wrong."""

import sys
from types import ModuleType, SimpleNamespace
from typing import ClassVar

import pytest

from rover.devices.registry import LoadError
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.session.own_simulation import OwnSimulation, SimulationError, with_stand_ins
from rover.simulation import Contact, TrueObject

CONTEXT = SimpleNamespace(
    errand=SimpleNamespace(kinds={"amber": None, "teal": None}), bench=SimpleNamespace(options={"jars": 2})
)
JARS = (TrueObject("1", "amber", 1.0, 1.0), TrueObject("2", "teal", 2.0, 1.0))


class Sound:
    """A simulation in which nothing happens."""

    pose: ClassVar = (1.0, 2.0, 0.5)
    objects: ClassVar = JARS

    def __init__(self, options, context):
        assert options == {"jars": 2}
        self.touched = []

    def advance(self, now_ns):
        self.now_ns = now_ns

    def contacts(self):
        return self.touched


def placed(one):
    """Return the class at work, as a user's own module has it."""
    module = ModuleType("my_lab")
    module.World = one
    sys.modules["my_lab"] = module
    return OwnSimulation("my_lab:World", CONTEXT)


@pytest.fixture(autouse=True)
def _no_module_stays():
    yield
    sys.modules.pop("my_lab", None)


def having(**names):
    return type("World", (Sound,), names)


def raising(*args):
    raise KeyError("jar")


def test_what_it_says_is_handed_on():
    simulation = placed(Sound)
    simulation.advance(20_000_000)
    simulation.own.touched = [Contact("1", 0.2), (None, 0.1)]
    assert simulation.own.now_ns == 20_000_000
    assert simulation.pose == (1.0, 2.0, 0.5)
    assert simulation.contacts() == [Contact("1", 0.2), Contact(None, 0.1)]


def test_objects_in_which_nothing_changed_are_the_very_same_though_they_are_made_anew():
    simulation = placed(having(objects=property(lambda self: list(JARS))))
    assert simulation.objects is simulation.objects


def test_a_list_that_it_changes_is_seen_to_change():
    simulation = placed(having(objects=list(JARS)))
    before = simulation.objects
    simulation.own.objects[0] = JARS[0]._replace(x=3.0)
    assert before[0].x == 1.0
    assert simulation.objects[0].x == 3.0


@pytest.mark.parametrize(
    ("names", "why"),
    [
        ({"__init__": lambda self: None}, "cannot be made: it raised TypeError"),
        ({"__init__": lambda self, options, context: raising()}, "cannot be made: it raised KeyError: 'jar'"),
    ],
)
def test_one_that_cannot_be_made(names, why):
    with pytest.raises(LoadError, match=f"simulation 'my_lab:World' {why}"):
        placed(having(**names))


def test_one_that_lacks_what_it_must_have():
    bare = type("World", (), {"__init__": lambda self, options, context: None, "pose": (0.0, 0.0, 0.0)})
    with pytest.raises(LoadError, match="'my_lab:World' has no advance and no objects and no contacts"):
        placed(bare)


@pytest.mark.parametrize(
    ("names", "why"),
    [
        ({"pose": (0.0, float("nan"), 0.0)}, r"pose: \(0, nan, 0\) is not a place and a heading"),
        ({"pose": (0.0, 0.0)}, "pose raised ValueError: not enough values"),
        ({"pose": property(raising)}, "pose raised KeyError: 'jar'"),
        ({"objects": None}, "objects raised TypeError"),
        ({"objects": (JARS[0], JARS[0])}, "objects: two have the same id"),
        ({"objects": (JARS[0]._replace(kind="ambr"),)}, "objects: there is no kind 'ambr' .*did you mean 'amber'"),
        ({"objects": (JARS[0]._replace(x=float("inf")),)}, "objects: .*where '1' is, is not a place"),
        ({"objects": [("1", "amber", 1.0, 1.0)]}, "objects raised AttributeError"),
    ],
)
def test_what_cannot_be_at_the_start(names, why):
    with pytest.raises(SimulationError, match=f"simulation 'my_lab:World': {why}"):
        placed(having(**names))


@pytest.mark.parametrize(
    ("change", "ask", "why"),
    [
        ({"objects": JARS[:1]}, lambda one: one.objects, "objects: 1 are not those of the start, 1, 2"),
        ({"touched": [Contact("3")]}, lambda one: one.contacts(), "contacts\\(\\): there is no object '3'"),
        ({"touched": [None]}, lambda one: one.contacts(), "contacts\\(\\) raised TypeError"),
        ({"advance": raising}, lambda one: one.advance(1), "advance\\(\\) raised KeyError: 'jar'; the run's record"),
        ({"advance": sys.exit}, lambda one: one.advance(1), "advance\\(\\) raised SystemExit"),
    ],
)
def test_what_cannot_be_later_ends_it_and_leaves_what_it_said_last(change, ask, why):
    simulation = placed(Sound)
    vars(simulation.own).update(change)
    with pytest.raises(SimulationError, match=f"simulation 'my_lab:World': {why}"):
        ask(simulation)
    simulation.advance(2)
    assert (simulation.pose, simulation.objects, simulation.contacts()) == ((1.0, 2.0, 0.5), JARS, ())


class Wheels:
    """A stand-in."""


def robot_of(root, **drivers):
    values = yaml_source.read(root / "config/cart.yaml", "cart.yaml").values
    kept = {name: values["devices"][name] for name in ("drive", "counts", "range")}
    devices = {name: device | {"driver": drivers.get(name, device["driver"])} for name, device in kept.items()}
    return Robot.model_validate(values | {"devices": devices})


def test_its_stand_ins_take_the_place_of_built_in_drivers_and_of_no_others(pytestconfig):
    robot = robot_of(pytestconfig.rootpath, counts="my_lab:Counts", range="scripted")
    there = with_stand_ins(robot, "my_lab:World", SimpleNamespace(stand_ins={"drive": Wheels, "counts": Wheels}))
    drivers = {name: device.driver for name, device in there.devices.fitted().items()}
    assert drivers == {"drive": f"{__name__}:Wheels", "counts": "my_lab:Counts", "range": "scripted"}
    assert there.devices.drive.top_speed == robot.devices.drive.top_speed


def test_a_built_in_driver_without_a_stand_in_is_named(pytestconfig):
    robot = robot_of(pytestconfig.rootpath)
    why = (
        "range: simulation 'my_lab:World' has no stand-in for driver 'simulated' .it has: drive, counts.; name a driver"
    )
    with pytest.raises(LoadError, match=why):
        with_stand_ins(robot, "my_lab:World", SimpleNamespace(stand_ins={"drive": Wheels, "counts": Wheels}))
    with pytest.raises(LoadError, match=r"drive: .*it has: none"):
        with_stand_ins(robot, "my_lab:World", Sound)
