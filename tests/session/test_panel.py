"""Start button, light and buzzer of a run, on lines that are files in a folder."""

import pytest

from rover.devices.indicator import Mood
from rover.files.robot import Panel
from rover.session.panel import OperatorPanel, PanelStatus, mood_of

QUIET = PanelStatus(stopped=False, fault=False, held_back=False, waiting=False, moving=False)


@pytest.mark.parametrize(
    ("changes", "mood"),
    [
        ({}, Mood.STANDING),
        ({"moving": True}, Mood.MOVING),
        ({"moving": True, "waiting": True}, Mood.WAITING),
        ({"moving": True, "held_back": True}, Mood.HELD_BACK),
        ({"held_back": True, "fault": True}, Mood.FAULT),
        ({"stopped": True, "fault": True}, Mood.STOPPED),
    ],
)
def test_the_most_urgent_is_shown(changes, mood):
    assert mood_of(QUIET._replace(**changes)) is mood


def test_the_light_follows_and_goes_dark_at_the_end(tmp_path):
    panel = OperatorPanel(Panel(gpio=str(tmp_path), light=5, start_button=6))
    panel.show(QUIET._replace(stopped=True), 0)
    assert (tmp_path / "line5").read_text() == "1\n"
    assert not panel.is_pressed()
    panel.close()
    panel.close()
    assert (tmp_path / "line5").read_text() == "0\n"


def test_a_robot_without_a_panel_has_nothing_to_show():
    panel = OperatorPanel(Panel())
    panel.show(QUIET, 0)
    assert not panel.is_pressed()
    panel.close()
