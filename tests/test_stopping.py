"""The one table of stopping: every pair of phase and act, and several senders in any order."""

from pathlib import Path

import pytest
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from rover.core.step import ACTS
from rover.core.stopping import Stopping
from rover.guard.permission import Permission
from rover.guard.protocol import NOBODY, State
from rover.session.guard_watch import GuardWatch
from rover.stopping import EFFECTS, LATCHED, TABLE, Act, JawsRule, Latch, Phase, markdown

N, S, R, Y, G, H = Phase.NOT_ENABLED, Phase.STOPPED, Phase.RESETTING, Phase.READY, Phase.RUNNING, Phase.HELD
EXPECTED = {
    #            N  S  R  Y  G  H
    Act.ENABLE: (G, S, R, Y, G, H),
    Act.STOP: (S, S, S, S, S, S),
    Act.PRESS: (N, R, R, Y, G, H),
    Act.RELEASE: (N, S, Y, Y, G, H),
    Act.RESUME: (N, S, R, G, G, G),
    Act.HOLD: (N, S, R, Y, H, H),
    Act.LAPSE: (N, S, R, Y, N, N),
}
"""Written down here a second time, by hand, as a person reads it: where each act leads from each phase."""


@pytest.mark.parametrize("act", Act)
@pytest.mark.parametrize("phase", Phase)
def test_every_pair_of_phase_and_act(phase, act):
    latch = Latch(phase, "the first cause")
    why_not = latch.act(act, "another cause")
    assert latch.phase is EXPECTED[act][phase]
    after = TABLE[phase][act]
    assert why_not == ("" if isinstance(after, Phase) else after)
    assert (latch.cause == "") is (latch.phase is G and phase is not G) or phase is G


def test_a_reset_whose_control_was_not_the_one_pressed_says_so():
    latch = Latch(S)
    latch.act(Act.PRESS, control="page")
    assert "released after having been pressed" in latch.act(Act.RELEASE, control="terminal")
    assert latch.phase is R
    assert not latch.effect.moves


def test_every_pair_is_in_the_table():
    assert {phase: set(acts) for phase, acts in TABLE.items()} == {phase: set(Act) for phase in Phase}


def test_wheels_obey_in_one_phase_only_and_the_jaws_keep_what_they_hold_in_a_hold():
    assert [phase for phase in Phase if EFFECTS[phase].moves] == [G]
    assert [phase for phase in Phase if EFFECTS[phase].jaws is not JawsRule.REST] == [G, H]


def test_the_first_cause_stays_until_the_stop_is_reset():
    latch = Latch(G)
    latch.act(Act.STOP, "the stop input is open")
    latch.act(Act.STOP, "stopped by an operator")
    latch.act(Act.PRESS, control="page")
    latch.act(Act.STOP, "stopped by an operator")
    assert latch.cause == "the stop input is open"
    latch.act(Act.PRESS, control="page")
    latch.act(Act.RELEASE, control="page")
    latch.act(Act.STOP, "stopped by an operator")
    assert latch.cause == "stopped by an operator"


def test_the_table_in_the_docs_is_this_one():
    docs = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text("utf-8")
    assert markdown() in docs


PROGRAMS, CONTROLS = (7, 8), ("page", "terminal", "panel")


class SeveralSenders(RuleBasedStateMachine):
    """Programs, controls and the stop input act in any order; one of the programs has a core that follows.

    States reach that core in order, though some may be lost on the way: datagrams are.
    """

    @initialize()
    def power_up(self) -> None:
        self.permission = Permission()
        self.watch, self.core = GuardWatch(PROGRAMS[0]), Stopping([])
        self.core.act(Act.LAPSE, "motion has not been enabled")
        self.since_stop: list[str] = []
        self.unseen: list[State] = []
        self.time_ns = 0

    def _done(self, what: str) -> None:
        self.since_stop.append(what)
        self.time_ns += 1
        permission = self.permission
        head = (self.time_ns, permission.phase, False, False, True, permission.permit_holder)
        self.unseen.append(State(*head, 0, 0.0, 0.0, permission.cause, ""))

    @rule(cause=st.sampled_from(["the stop input is open", "stopped by an operator"]))
    def stop(self, cause: str) -> None:
        self.permission.stop(cause)
        self.since_stop = []
        self._done("stop")
        assert not self.permission.effect.moves

    @rule(control=st.sampled_from(CONTROLS))
    def press(self, control: str) -> None:
        self.permission.act(Act.PRESS, control=control)
        self._done(f"press {control}")

    @rule(control=st.sampled_from(CONTROLS))
    def release(self, control: str) -> None:
        moved = self.permission.effect.moves
        self.permission.act(Act.RELEASE, control=control)
        self._done(f"release {control}")
        assert self.permission.effect.moves is moved, "a reset starts nothing"

    @rule()
    def resume(self) -> None:
        self.permission.resume()
        self._done("resume")

    @rule()
    def hold(self) -> None:
        self.permission.act(Act.HOLD, "held")
        self._done("hold")

    @rule(program=st.sampled_from(PROGRAMS))
    def enable(self, program: int) -> None:
        holder = self.permission.permit_holder
        self.permission.enable(program)
        assert holder in (NOBODY, program) or self.permission.permit_holder == holder, "nobody is driven out"
        self._done("enable")

    @rule()
    def the_permit_holder_goes(self) -> None:
        if self.permission.permit_holder != NOBODY:
            self.permission.lapse("gone")
            self._done("lapse")

    @rule(lost=st.sets(st.integers(0, 5)))
    def the_core_hears(self, lost: set[int]) -> None:
        """What the program does in a step: the guard's words, then those of the core's own that the guard lacks."""
        states = [state for n, state in enumerate(self.unseen) if n not in lost]
        self.unseen = []
        for action in self.watch.actions(states, self.time_ns):
            for act in ACTS[action.kind]:
                self.core.act(act, action.value)
        if self.core.phase in LATCHED and self.watch.moves:
            self.permission.stop(self.core.cause)
            self.since_stop = []
            self._done("stop")

    @rule()
    def the_core_stops_by_itself(self) -> None:
        self.core.stop("held back too often")

    @invariant()
    def motion_after_a_stop_was_reset_by_one_control_and_resumed_after_that(self) -> None:
        if not self.permission.effect.moves or "stop" not in self.since_stop:
            return
        acts = self.since_stop
        assert any(
            f"press {control}" in acts[:released] and "resume" in acts[released:]
            for control in CONTROLS
            for released in [n for n, act in enumerate(acts) if act == f"release {control}"]
        ), acts

    @invariant()
    def a_core_moves_only_by_the_guards_word(self) -> None:
        if self.core.effect.moves:
            assert self.watch.moves


TestSeveralSenders = SeveralSenders.TestCase
