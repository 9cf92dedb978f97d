"""Devices that cannot be had: one clear line, exit code 2, nothing left energised.

Ports and pins: `test_bad_input.py`.
"""

import signal

import pytest

pytestmark = pytest.mark.real_time

MISSING = """
class Missing:
    def __init__(self, options, host):
        raise OSError("/dev/video7 is not there; plug the camera in")
"""


def test_a_camera_that_is_missing(stand):
    folder = stand.own_module("cameras", MISSING)
    stand.robot["devices"]["camera"] = {"driver": "cameras:Missing"}
    stand.straight_on()
    stand.emulate()
    assert stand.refused("--drivers", folder) == "camera: /dev/video7 is not there; plug the camera in"


def test_simulated_devices_are_for_rehearsals(stand):
    stand.robot["devices"]["range"] = {"driver": "simulated"}
    stand.straight_on()
    assert stand.refused() == "range: driver 'simulated' works in a rehearsal only; name a real one in the robot file"


def test_a_drive_that_moves_nothing_is_refused(stand):
    stand.robot["devices"]["drive"] = {"driver": "scripted"}
    stand.straight_on()
    assert stand.refused() == "driver 'scripted' of drive moves nothing; name a real one in the robot file"


def test_a_second_run_on_the_same_robot_is_refused_and_the_first_goes_on(stand):
    stand.straight_on()
    stand.emulate()
    process = stand.start("--enable-motion")
    stand.wait_until_moving()
    code, _, said = stand.run("--enable-motion")
    assert (code, said.splitlines()[-1][:36]) == (2, "another program commands this robot;")
    assert stand.is_moving
    assert stand.end(process, signal.SIGINT)[0] == 130
