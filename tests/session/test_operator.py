"""Start button, light and buzzer of a run, on lines that are files in a folder."""

import pytest

from rover.devices.panel.indicator import Indication
from rover.devices.panel.keys import PanelKeys
from rover.session.operator import OperatorPanel, indication_of

QUIET = {"stopped": False, "fault": False, "held_back": False, "waiting": False, "moving": False}


@pytest.mark.parametrize(
    ("changes", "indication"),
    [
        ({}, Indication.STANDING),
        ({"moving": True}, Indication.MOVING),
        ({"moving": True, "waiting": True}, Indication.WAITING),
        ({"moving": True, "held_back": True}, Indication.HELD_BACK),
        ({"held_back": True, "fault": True}, Indication.FAULT),
        ({"stopped": True, "fault": True}, Indication.STOPPED),
    ],
)
def test_the_most_urgent_is_shown(changes, indication):
    assert indication_of(**{**QUIET, **changes}) is indication


def test_the_light_follows_and_goes_dark_at_the_end(tmp_path):
    panel = OperatorPanel(PanelKeys(gpio=str(tmp_path), light=5, start_button=6))
    panel.show(Indication.STOPPED, 0)
    assert (tmp_path / "line5").read_text() == "1\n"
    assert not panel.is_pressed()
    panel.close()
    panel.close()
    assert (tmp_path / "line5").read_text() == "0\n"


def test_a_robot_without_a_panel_has_nothing_to_show():
    panel = OperatorPanel(PanelKeys())
    panel.show(Indication.STANDING, 0)
    assert not panel.is_pressed()
    panel.close()
