"""What the guard says, as the core hears it."""

from rover.core import Action
from rover.guard.protocol import NOBODY, Phase, State
from rover.session.guard_watch import OTHER, SILENT, SILENT_NS, GuardWatch

ME, SOMEBODY = 7, 8


def state(phase, permit_holder=ME, cause="", now_ns=0):
    return State(now_ns, phase, False, False, True, permit_holder, 0, 0.0, 0.0, cause, "")


def hears(*states):
    watch = GuardWatch(ME)
    return [list(watch.actions(one, 0)) for one in states]


def test_enabled_at_once_the_core_is_reset_and_resumed():
    assert hears(state(Phase.STOPPED, NOBODY), state(Phase.RUNNING)) == [[], [Action("reset"), Action("resume")]]


def test_what_the_guard_says_is_a_reading_once():
    watch, first, second = GuardWatch(ME), state(Phase.READY, now_ns=5), state(Phase.READY, now_ns=9)
    heard = [watch.readings(one) for one in (None, first, first, second)]
    assert [[reading[:2] for _, reading in readings] for readings in heard] == [[], [(5, 1)], [], [(9, 2)]]


def test_a_reset_and_a_resume_are_two_acts():
    assert hears(state(Phase.READY), state(Phase.READY), state(Phase.RUNNING)) == [
        [Action("reset")],
        [],
        [Action("resume")],
    ]


def test_a_stop_comes_once_with_its_cause():
    stopped = state(Phase.STOPPED, cause="the stop input is open")
    assert hears(state(Phase.RUNNING), stopped, stopped)[1:] == [[Action("stop", "the stop input is open")], []]


def test_what_another_session_may_do_is_a_stop_for_this_one():
    assert hears(state(Phase.RUNNING), state(Phase.RUNNING, SOMEBODY))[1] == [Action("stop", OTHER)]


def test_a_guard_that_falls_silent_is_a_stop():
    watch = GuardWatch(ME)
    said = state(Phase.RUNNING)
    watch.actions(said, 0)
    assert watch.actions(said, SILENT_NS) == ()
    assert watch.actions(said, SILENT_NS + 1) == (Action("stop", SILENT),)


def test_before_its_first_word_nothing_is_permitted():
    assert GuardWatch(ME).actions(None, 0) == ()
