"""A robot with drivers of a person's own goes to another process and is the same there."""

import pickle
from pathlib import Path

from rover.devices.range.keys import RangeKeys
from rover.files import yaml_source
from rover.files.robot import Robot

CART = Path(__file__).parents[2] / "config/cart.yaml"


def test_what_own_drivers_are_given_survives_pickling():
    values = yaml_source.read(CART, CART.name).values
    lamp = {"driver": "my_lab.lamp:Lamp", "rest": "10 %", "pin": 22, "fades_in": "200 ms"}
    bumper = {"driver": "my_lab.bumper:Bumper", "signals": {"pressed": "yes or no"}, "pin": 17}
    own = {"outputs": {"lamp": lamp}, "devices": values["devices"] | {"bumper": bumper}}
    robot = Robot.model_validate(values | own)
    again = pickle.loads(pickle.dumps(robot))
    assert again == robot
    assert again.outputs["lamp"].options == robot.outputs["lamp"].options
    assert again.outputs["lamp"].options["fades_in"] == 0.2
    assert {name: device.options for name, device in again.devices.fitted().items()} == {
        name: device.options for name, device in robot.devices.fitted().items()
    }


def test_what_is_declared_goes_as_the_value_that_it_is():
    """A text stays one, whatever it looks like; and names that a model has for something else do no harm."""
    model = RangeKeys.for_driver("my_lab.sonar:Sonar", {"note": (str, "3 m"), "options": (float, ...)})
    device = model.model_validate({"driver": "my_lab.sonar:Sonar", "options": 2.0})
    again = pickle.loads(pickle.dumps(device))
    assert again.options == device.options
    assert (again.options["note"], again.options["options"]) == ("3 m", 2.0)
    assert isinstance(again, RangeKeys)
