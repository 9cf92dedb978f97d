"""The network camera against a real server on this machine that sends motion JPEG."""

import subprocess
import sys
from contextlib import closing

import numpy
import pytest

from rover.devices.camera import network_camera
from rover.devices.camera.keys import NetworkCameraKeys
from rover.devices.camera.network_camera import Camera
from rover.devices.kernel.files import DeviceError
from rover.devices.registry import load_driver

from .motion_jpeg import Server

pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")


@pytest.fixture
def server():
    with closing(Server(lambda number: numpy.full((120, 160, 3), 10 * number, numpy.uint8))) as server:
        yield server


def options(address):
    return NetworkCameraKeys(address=address, latency="0 s").options


def polled(camera):
    """Return the next frames that come."""
    while not (readings := camera.poll(0)):
        pass
    return readings


def poll_to_the_end(camera):
    while True:
        camera.poll(0)


def test_the_short_name_is_this_driver():
    assert load_driver("camera", "network_camera") is Camera


def test_frames_come_until_the_stream_ends_and_from_the_next_call_anew(server):
    server.send(5)
    with closing(Camera(options(server.address))) as camera:
        reading = polled(camera)[0]
        assert reading.value.image.shape == (120, 160, 3)
        server.end()
        with pytest.raises(DeviceError, match="/stream gives no more pictures; was it unplugged or switched off"):
            poll_to_the_end(camera)
    server.is_over = False
    server.send(5)
    with closing(Camera(options(server.address))) as camera:
        assert polled(camera)
        server.end()


def test_one_that_falls_silent_is_given_up(server, monkeypatch):
    monkeypatch.setattr(network_camera, "ANSWERS_WITHIN_S", 0.5)
    server.send(5)
    with (
        closing(Camera(options(server.address))) as camera,
        pytest.raises(DeviceError, match="gives no more pictures"),
    ):
        poll_to_the_end(camera)


OPENED_ALONE = """
import sys
from rover.devices.camera import network_camera
network_camera.ANSWERS_WITHIN_S = 0.5
for address in sys.argv[1:]:
    try:
        network_camera.Camera({"address": address, "latency": 0.0})
    except network_camera.DeviceError as error:
        print(error)
"""


def test_what_does_not_answer_is_told(server):
    """In our words alone: what the packages below write to standard error is kept silent.

    In a process of its own, as they take how much they write from the first video that is opened in one.
    """
    addresses = [server.address + "s", "http://127.0.0.1:9/", "rtsp://127.0.0.1:9/", server.address]
    command = [sys.executable, "-c", OPENED_ALONE, *addresses]
    opened = subprocess.run(command, capture_output=True, text=True, check=True)
    for address, said in zip(addresses, opened.stdout.splitlines(), strict=True):
        assert said.startswith(f"{address} gives no pictures; is the camera on")
    assert opened.stderr == ""


@pytest.mark.parametrize("address", ["camera.local", "/dev/video0", "file:///dev/zero", ""])
def test_an_address_is_one_of_a_stream(address):
    with pytest.raises(ValueError, match=r"an address begins with http://|a text is due"):
        options(address)
