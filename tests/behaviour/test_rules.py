"""The rules of the behaviour language, R1 to R4, each by small behaviours that read as examples."""

import pytest

from rover.behaviour.vocabulary import Progress

DONE, FAILED = Progress.DONE, Progress.FAILED

NESTED = """
start: outer
always: [{when: objects.left == 1, go: by_top, except: [by_top]}]
states:
  outer:
    start: inner
    always: [{when: objects.left <= 2, go: by_inner_graph, except: [by_inner_graph]}]
    states:
      inner:
        does: stand_still
        exits:
          - {when: objects.left <= 3, go: first}
          - {when: objects.left <= 3, go: second}
      by_inner_graph: {does: stand_still}
      first: {does: stand_still}
      second: {does: stand_still}
    exits: [{when: objects.left <= 4, go: by_outer}]
  by_top: {does: stand_still}
  by_outer: {does: stand_still}
"""


@pytest.mark.parametrize(
    ("left", "lands"),
    [(5, "outer/inner"), (4, "by_outer"), (3, "outer/first"), (2, "outer/by_inner_graph"), (1, "by_top")],
)
def test_r01_always_goes_outermost_first_then_exits_innermost_first(run_of, left, lands):
    """All exits from the one that fires down to the last hold at once; the list's order picks."""
    run = run_of(NESTED)
    run.set(objects_left=left)
    assert run.step() == lands


def test_r01_lists_go_from_the_top(run_of):
    run = run_of(
        """
start: a
always:
  - {when: target.known, go: b, except: [b, c]}
  - {when: target.known, go: c, except: [b, c]}
states: {a: {does: stand_still}, b: {does: stand_still}, c: {does: stand_still}}
"""
    )
    run.set(target_known=True)
    assert run.step() == "b"


def test_r01_at_most_one_exit_a_step(run_of):
    """Entering a state whose exit holds already does not leave it in the same step."""
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, exits: [{when: 'true', go: b}]}
  b: {does: stand_still, exits: [{when: 'true', go: c}]}
  c: {does: stand_still}
"""
    )
    assert run.steps(2) == ["b", "c"]


def test_r01_a_window_goes_on_in_the_step_in_which_another_exit_is_taken(run_of):
    """The outer state's 2 of 2 gets its first sample in the step that leaves the inner state a for b."""
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    states:
      a: {does: stand_still, exits: [{when: target.known, go: b}]}
      b: {does: stand_still}
    exits: [{when: target.seen, confirm: 2 of 2, go: out}]
  out: {does: stand_still}
"""
    )
    run.set(target_known=True)
    assert run.report("camera", target_seen=True).step() == "outer/b"
    assert run.report("camera").step() == "out"


def test_r01_a_window_goes_on_behind_an_exit_above_it_that_holds(run_of):
    """Nothing is short-circuited: 'a and b' is sampled although the exit above it fires for another graph level."""
    run = run_of(
        """
start: outer
always: [{when: range.distance < 1 m, confirm: 2 of 2, go: out, except: [out]}]
states:
  outer:
    start: a
    always: [{when: target.known, go: b, except: [b]}]
    states: {a: {does: stand_still}, b: {does: stand_still}}
  out: {does: stand_still}
"""
    )
    run.set(target_known=True)
    assert run.report("range", range_distance=0.5).step() == "outer/b"
    assert run.report("range").step() == "out"


AFTER = """
start: a
states:
  a: {does: stand_still, exits: [{after: 1 s, go: b}]}
  b: {does: stand_still}
"""


def test_r02_after_is_the_first_step_at_or_past_it(run_of):
    run = run_of(AFTER)
    assert run.step(0.999999999) == "a"
    assert run.step(0.000000001) == "b"
    late = run_of(AFTER)
    assert late.step(7.0) == "b"


def test_r02_after_counts_from_the_entry_of_the_state_or_graph_that_holds_it(run_of):
    """Inner changes restart neither the outer state's timer nor that of its 'always'."""
    run = run_of(
        """
start: outer
always: [{after: 900 ms, go: by_graph, except: [by_graph]}]
states:
  outer:
    start: a
    always: [{after: 300 ms, go: c, except: [c]}]
    states:
      a: {does: stand_still, exits: [{after: 200 ms, go: b}]}
      b: {does: stand_still, exits: [{after: 200 ms, go: a}]}
      c: {does: stand_still}
    exits: [{after: 600 ms, go: out}]
  out: {does: stand_still}
  by_graph: {does: stand_still}
"""
    )
    assert run.steps(9) == ["outer/a", "outer/b", "outer/c", "outer/c", "outer/c", "out", "out", "out", "by_graph"]


OUTCOMES = """
start: a
states:
  a:
    does: stand_still
    exits:
      - {when: done and target.known, go: b}
      - {when: failed and target.known, go: c}
      - {when: objects.left == 9 and not done, go: a}
  b: {does: stand_still}
  c: {does: stand_still}
"""


@pytest.mark.parametrize(("progress", "lands"), [(DONE, "b"), (FAILED, "c")])
def test_r02_outcomes_stay_true_until_the_state_is_left(run_of, progress, lands):
    run = run_of(OUTCOMES)
    assert run.step() == "a"
    run.end(progress)
    assert run.steps(3) == ["a", "a", "a"]
    run.set(target_known=True)
    assert run.step() == lands


def test_r02_outcomes_are_false_again_after_a_new_entry(run_of):
    run = run_of(OUTCOMES)
    run.end(FAILED)
    run.set(objects_left=9)
    assert run.step() == "a"
    run.set(target_known=True, objects_left=0)
    assert run.step() == "a"


def test_r02_an_inner_graphs_end_is_seen_on_the_next_step(run_of):
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    states: {a: {does: stand_still, exits: [{when: target.known, go: end}]}, end: {final: failed}}
    exits: [{when: done, go: b}, {when: failed, go: c}]
  b: {does: stand_still}
  c: {does: stand_still}
"""
    )
    run.set(target_known=True)
    assert run.steps(2) == ["outer/end", "c"]


def test_r02_outcomes_are_not_allowed_in_always(problems_of):
    found = problems_of(
        """
start: a
always: [{when: done, go: b, except: [b]}]
states: {a: {does: stand_still}, b: {final: done}}
"""
    )
    assert found == ["done: 'done' tells how a state ended; it is not known here"]


def test_r03_entering_starts_the_activity_in_the_same_step(run_of):
    run = run_of(AFTER)
    run.step(1.0)
    assert run.performer.log == ["begin a", "cancel", "begin b"]


def test_r03_going_to_the_present_state_is_a_real_re_entry(run_of):
    """The activity is cancelled and begun again, the state's timer starts again, its entries count on."""
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, exits: [{when: target.known, go: a}, {after: 250 ms, go: b}]}
  b: {does: stand_still}
"""
    )
    run.step()
    run.set(target_known=True)
    run.step()
    run.set(target_known=False)
    assert run.performer.begun == [("a", {}, 1), ("a", {}, 2)]
    assert run.performer.log == ["begin a", "cancel", "begin a"]
    assert run.steps(3) == ["a", "a", "b"]


def test_r03_re_entry_of_a_state_with_a_graph_begins_at_its_start(run_of):
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    states: {a: {does: stand_still, exits: [{after: 100 ms, go: b}]}, b: {does: stand_still}}
    exits: [{when: target.known, go: outer}]
"""
    )
    assert run.step() == "outer/b"
    run.set(target_known=True)
    assert run.step() == "outer/a"


def test_r03_go_points_only_to_states_of_its_own_graph(problems_of):
    found = problems_of(
        """
start: outer
states:
  outer:
    start: inner
    states: {inner: {does: stand_still, exits: [{when: target.known, go: home}]}}
    exits: [{when: target.known, go: inner}]
  home: {does: stand_still}
"""
    )
    assert [one.partition(":")[0] for one in found] == ["home", "inner"]
    assert all("there is no state" in one for one in found)


def test_r04_leaving_a_state_cancels_its_activity_and_inner_ones(run_of):
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    states: {a: {does: stand_still}}
    exits: [{when: target.known, go: end}]
  end: {final: done}
"""
    )
    run.set(target_known=True)
    assert run.step() == "end"
    assert run.performer.log == ["begin outer/a", "cancel"]


def test_r04_an_activity_that_has_ended_leaves_its_state_as_it_is(run_of):
    """Nothing is cancelled and nothing begun while no exit takes the progress."""
    run = run_of(AFTER)
    run.end(DONE)
    run.steps(5)
    assert run.performer.log == ["begin a"]
