"""Start button, light and buzzer."""

from contextlib import closing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.panel.indicator import DARK, Indication, Indicator, pattern
from rover.devices.panel.start_button import StartButton

MS = 1_000_000
SECOND = 1_000_000_000


def rhythm(indication, seconds=4):
    """Return the light at every 50 ms, as dots and strokes."""
    return "".join("#" if pattern(indication, at * 50 * MS).light else "." for at in range(20 * seconds))


def test_each_mood_has_a_rhythm_of_its_own():
    rhythms = [rhythm(indication) for indication in Indication]
    assert len(set(rhythms)) == len(rhythms)
    assert rhythm(Indication.STOPPED, 1) == "##.." * 5
    assert rhythm(Indication.FAULT, 2).startswith("##...##...##" + "." * 18 + "##")
    assert set(rhythm(Indication.OFF)) == {"."}


@given(st.sampled_from(Indication), st.integers(0, 10**12))
def test_the_buzzer_sounds_at_first_only_and_with_the_light(indication, since_ns):
    shown = pattern(indication, since_ns)
    assert shown.light or not shown.buzzer
    assert since_ns < 3 * SECOND or not shown.buzzer


@pytest.mark.parametrize("indication", [Indication.STOPPED, Indication.FAULT, Indication.WAITING])
def test_what_asks_for_a_person_is_heard(indication):
    assert pattern(indication, 0).buzzer


@pytest.mark.parametrize("indication", [Indication.MOVING, Indication.STANDING, Indication.HELD_BACK])
def test_what_does_not_is_silent(indication):
    assert not any(pattern(indication, at * 10 * MS).buzzer for at in range(500))


def test_the_lines_follow_and_are_low_in_the_end(board):
    with closing(Indicator(board.CHIP, light=3, buzzer=4)) as indicator:
        indicator.show(Indication.STOPPED, 10 * SECOND)
        assert (board.level[3], board.level[4]) == (True, True)
        indicator.show(Indication.STOPPED, 10 * SECOND + 100 * MS)
        assert (board.level[3], board.level[4]) == (False, False)
        indicator.show(Indication.MOVING, 20 * SECOND)
        assert (board.level[3], board.level[4]) == (True, False)
    assert (board.level[3], board.level[4], board.held) == (False, False, set())
    assert pattern(Indication.OFF, 0) == DARK


def test_a_light_alone_will_do(board):
    with closing(Indicator(board.CHIP, light=3, buzzer=None)) as indicator:
        indicator.show(Indication.STOPPED, 0)
        assert board.level[3]


def test_a_press_is_told_once_and_one_that_was_there_before_is_none(board):
    board.level[2] = False
    with closing(StartButton(board.CHIP, 2)) as button:
        assert button.presses() == ()
        board.edge(2, True, 5)
        board.edge(2, False, 7)
        assert button.presses() == (7,)
        assert button.presses() == ()
