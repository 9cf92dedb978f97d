"""A robot with drivers of a person's own goes to another process and is the same there."""

import pickle
from pathlib import Path

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
    assert again.outputs["lamp"].options == robot.outputs["lamp"].options
    assert again.outputs["lamp"].options["fades_in"] == 0.2
    assert again.devices.fitted()["bumper"].options == robot.devices.fitted()["bumper"].options
    assert again.devices.drive == robot.devices.drive
