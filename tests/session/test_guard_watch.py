"""What the guard says, as the core hears it."""

import pytest

from rover.core import Action
from rover.guard.protocol import NOBODY, State
from rover.session.guard_watch import GONE_NS, OTHER, SILENT, SILENT_NS, GuardWatch
from rover.stopping import Phase

ME, SOMEBODY = 7, 8


def state(phase, permit_holder=ME, cause="", now_ns=0):
    return State(now_ns, phase, False, False, True, permit_holder, 0, 0.0, 0.0, cause, "")


def hears(*states):
    watch = GuardWatch(ME)
    return [list(watch.actions([one], 0)) for one in states]


def test_enabled_at_once_the_core_goes_on():
    heard = hears(state(Phase.NOT_ENABLED, NOBODY), state(Phase.RUNNING))
    assert heard == [[], [Action("enable"), Action("resume")]]


def test_what_the_guard_says_is_a_reading_once():
    watch, first, second = GuardWatch(ME), state(Phase.READY, now_ns=5), state(Phase.READY, now_ns=9)
    heard = [watch.readings(states) for states in ([], [first, second], [second])]
    assert [[reading[:2] for _, reading in readings] for readings in heard] == [[], [(5, 1), (9, 2)], [(9, 3)]]


def test_a_stop_a_reset_and_a_resume_are_three_acts():
    stopped = state(Phase.STOPPED, cause="the stop input is open")
    acts = hears(state(Phase.RUNNING), stopped, state(Phase.RESETTING), state(Phase.READY), state(Phase.RUNNING))
    assert acts[1:] == [
        [Action("stop", "the stop input is open")],
        [],
        [Action("reset")],
        [Action("enable"), Action("resume")],
    ]


def test_a_stop_comes_once_with_its_cause():
    stopped = state(Phase.STOPPED, cause="the stop input is open")
    assert hears(state(Phase.RUNNING), stopped, stopped)[1:] == [[Action("stop", "the stop input is open")], []]


def test_of_several_words_in_one_step_none_is_passed_over():
    watch = GuardWatch(ME)
    watch.actions([state(Phase.RUNNING)], 0)
    words = [state(Phase.STOPPED, cause="a jar"), state(Phase.RESETTING), state(Phase.READY)]
    assert watch.actions(words, 0) == [Action("stop", "a jar"), Action("reset")]


def test_motion_out_of_a_latched_stop_without_its_reset_is_not_followed():
    assert hears(state(Phase.STOPPED, cause="a jar"), state(Phase.RUNNING))[1] == []


def test_a_reset_whose_stop_was_missed_is_a_stop():
    assert hears(state(Phase.RUNNING), state(Phase.READY, cause="a jar"))[1] == [Action("stop", "a jar")]


def test_a_hold_and_its_end():
    held = state(Phase.HELD, cause="held at the terminal")
    assert hears(state(Phase.RUNNING), held, state(Phase.RUNNING))[1:] == [
        [Action("hold", "held at the terminal")],
        [Action("enable"), Action("resume")],
    ]


@pytest.mark.parametrize("phase", [Phase.RUNNING, Phase.HELD])
def test_what_another_session_may_do_is_not_permitted_to_this_one(phase):
    assert hears(state(Phase.RUNNING), state(phase, SOMEBODY))[1] == [Action("lapse", OTHER)]


def test_a_permission_that_lapsed_is_not_taken_up_again_by_itself():
    assert hears(state(Phase.RUNNING), state(Phase.NOT_ENABLED, NOBODY, "gone"))[1] == [Action("lapse", "gone")]


def test_a_guard_that_falls_silent_is_a_stop_and_its_return_is_none_to_be_followed():
    watch = GuardWatch(ME)
    watch.actions([state(Phase.RUNNING)], 7)
    assert watch.actions([], 7 + SILENT_NS) == []
    assert watch.actions([], 8 + SILENT_NS) == [Action("stop", SILENT)]
    assert watch.actions([], 9 + SILENT_NS) == []
    assert watch.actions([state(Phase.RUNNING, now_ns=SILENT_NS)], 10 + SILENT_NS) == []
    assert watch.moves


def test_words_that_waited_while_this_program_started_are_no_silence():
    watch = GuardWatch(ME)
    late_ns = 10 * SILENT_NS
    assert watch.actions([state(Phase.NOT_ENABLED, NOBODY)], late_ns) == []
    assert watch.actions([state(Phase.RUNNING)], late_ns + 1) == [Action("enable"), Action("resume")]
    assert watch.actions([], late_ns + 2) == []


def test_where_nothing_moves_a_silence_is_no_stop():
    watch = GuardWatch(ME)
    watch.actions([state(Phase.NOT_ENABLED, NOBODY)], 0)
    assert watch.actions([], 10 * SILENT_NS) == []


def test_before_its_first_word_nothing_is_permitted():
    watch = GuardWatch(ME)
    assert watch.actions([], 0) == []
    assert not watch.moves


def test_a_guard_that_nobody_starts_again_is_gone():
    watch = GuardWatch(ME)
    assert not watch.is_gone(10 * GONE_NS)
    watch.actions([state(Phase.RUNNING)], 7)
    assert [watch.is_gone(7 + GONE_NS), watch.is_gone(8 + GONE_NS)] == [False, True]
