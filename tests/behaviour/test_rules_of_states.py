"""The rules of the behaviour language, R8 to R10, each by small behaviours that read as examples."""

from small_behaviours import leaving_by

from rover.behaviour.vocabulary import Progress, Signals

DONE, FAILED = Progress.DONE, Progress.FAILED


def test_r08_windows_of_a_state_are_empty_at_each_entry(run_of):
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, exits: [{when: target.seen, confirm: 2 of 5, go: b}, {when: target.known, go: a}]}
  b: {does: stand_still}
"""
    )
    run.report("camera", target_seen=True).step()
    run.set(target_known=True)
    run.step()
    run.set(target_known=False)
    assert run.report("camera").step() == "a"
    assert run.report("camera").step() == "b"


def test_r08_hysteresis_of_a_state_is_forgotten_at_each_entry(run_of):
    run = run_of(
        """
start: a
states:
  a:
    does: stand_still
    exits:
      - {when: target.known, go: a}
      - {when: range.distance < 20 cm, until: range.distance > 40 cm, confirm: 2 of 2, go: b}
  b: {does: stand_still}
"""
    )
    run.report("range", range_distance=0.1).step()
    run.set(target_known=True)
    run.step()
    run.set(target_known=False)
    assert [run.report("range", range_distance=0.3).step() for _ in range(3)] == ["a", "a", "a"]


def test_r08_windows_of_always_live_as_long_as_their_graph(run_of):
    """Two of three frames, with a change of state between them."""
    run = run_of(
        """
start: a
always: [{when: target.seen, confirm: 2 of 3, go: c, except: [c]}]
states:
  a: {does: stand_still, exits: [{after: 100 ms, go: b}]}
  b: {does: stand_still}
  c: {does: stand_still}
"""
    )
    assert run.report("camera", target_seen=True).step() == "b"
    assert run.report("camera").step() == "c"


def test_r08_windows_of_an_inner_always_are_empty_when_its_graph_is_entered_again(run_of):
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    always: [{when: target.seen, confirm: 2 of 2, go: b, except: [b]}, {after: 350 ms, go: b, except: [b]}]
    states: {a: {does: stand_still}, b: {does: stand_still}}
    exits: [{when: target.known, go: outer}]
"""
    )
    run.report("camera", target_seen=True).step()
    run.set(target_known=True)
    run.step()
    run.set(target_known=False)
    assert run.report("camera").step() == "outer/a"
    assert run.steps(3) == ["outer/a", "outer/a", "outer/b"]  # its timer began at the second entry


def test_r08_an_always_exit_is_silent_in_the_states_it_excepts_but_counts_on(run_of):
    run = run_of(
        """
start: a
always: [{when: target.seen, confirm: 2 of 2, go: c, except: [a, c]}]
states:
  a: {does: stand_still, exits: [{when: target.known, go: b}]}
  b: {does: stand_still}
  c: {does: stand_still}
"""
    )
    assert [run.report("camera", target_seen=True).step() for _ in range(3)] == ["a", "a", "a"]
    run.set(target_known=True)
    assert run.steps(2) == ["b", "c"]


def test_r08_a_silent_exit_that_has_become_unknown_does_not_fire_later(run_of):
    run = run_of(
        """
start: a
always: [{when: range.distance < 1 m, go: c, except: [a, c]}]
states:
  a: {does: stand_still, exits: [{when: target.known, go: b}]}
  b: {does: stand_still}
  c: {does: stand_still}
"""
    )
    run.report("range", range_distance=0.5).step()
    run.report("range", range_distance=float("nan")).step()
    run.set(target_known=True)
    assert run.steps(3) == ["b", "b", "b"]
    assert run.report("range", range_distance=0.5).step() == "c"


def test_r08_an_always_exit_that_could_re_enter_its_target_is_refused(problems_of):
    found = problems_of(
        """
start: a
always: [{when: target.seen, go: b}]
states: {a: {does: stand_still}, b: {does: stand_still}}
"""
    )
    assert found == ["b: this would re-enter 'b' again and again; write except: [b] beside it"]


def test_r08_except_goes_with_always_only(problems_of):
    found = problems_of(leaving_by("{when: target.seen, go: b, except: [b]}"))
    assert found == ["except: 'except' goes with the exits under 'always'"]


TRIES = """
start: outer
states:
  outer:
    start: a
    states:
      a: {does: stand_still, tries: {at_most: 4, go: c}, exits: [{when: 'true', go: b}]}
      b: {does: stand_still, exits: [{when: 'true', go: a}]}
      c: {does: stand_still}
    exits: [{when: target.known, go: outer}]
"""


def test_r09_the_fifth_entry_goes_elsewhere_in_the_same_step(run_of):
    """Nothing is begun in the state whose tries are used up."""
    run = run_of(TRIES)
    names = [path.rpartition("/")[2] for path in run.steps(8)]
    assert names == ["b", "a", "b", "a", "b", "a", "b", "c"]
    assert [path for path, _, _ in run.performer.begun].count("outer/a") == 4


def test_r09_tries_are_counted_since_the_enclosing_graph_was_entered(run_of):
    run = run_of(TRIES)
    run.steps(8)
    run.set(target_known=True)
    assert run.step() == "outer/a"
    run.set(target_known=False)
    assert [path.rpartition("/")[2] for path in run.steps(8)][-2:] == ["b", "c"]


def test_r09_a_diversion_may_be_diverted_again(run_of):
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, tries: {at_most: 1, go: b}, exits: [{when: 'true', go: a}]}
  b: {does: stand_still, tries: {at_most: 1, go: c}, exits: [{when: 'true', go: a}]}
  c: {does: stand_still}
"""
    )
    assert run.steps(2) == ["b", "c"]


def test_r09_diversions_in_a_ring_are_refused(findings_of):
    found = findings_of(
        """
start: a
states:
  a: {does: stand_still, tries: {at_most: 1, go: b}, exits: [{after: 1 s, go: end}]}
  b: {does: stand_still, tries: {at_most: 1, go: a}, exits: [{after: 1 s, go: end}]}
  end: {final: done}
"""
    )
    assert [one.why for one in found if "ring" in one.why] == [
        "tries that are used up would go in a ring: a -> b -> a",
    ]


def test_r10_resuming_enters_the_outermost_state_afresh_its_own_tries_not_counted(run_of):
    run = run_of(
        """
start: outer
states:
  outer:
    start: a
    tries: {at_most: 2, go: used_up}
    states:
      a: {does: stand_still, exits: [{after: 100 ms, go: b}]}
      b: {does: stand_still}
    exits: [{when: target.known, go: outer}]
  used_up: {does: stand_still}
"""
    )
    for _ in range(5):
        assert run.step() == "outer/b"
        assert run.resume() == "outer/a"
    assert run.performer.log[-2:] == ["cancel", "begin outer/a"]
    run.set(target_known=True)
    assert run.steps(4) == ["outer/b", "outer/a", "outer/b", "used_up"]


def test_r10_time_stands_still_while_the_engine_does_not_step(run_of):
    """The graph's timer goes on from where it stood; the state's begins again with its new entry."""
    run = run_of(
        """
start: a
always: [{after: 500 ms, go: by_graph, except: [by_graph]}]
states:
  a: {does: stand_still, exits: [{after: 400 ms, go: b}]}
  b: {does: stand_still}
  by_graph: {does: stand_still}
"""
    )
    run.steps(3)
    run.resume()
    assert run.steps(2) == ["a", "by_graph"]


def test_r10_resuming_before_the_start_does_nothing(engine_of):
    """A robot that was stopped before its first step is resumed all the same."""
    engine = engine_of(leaving_by("{after: 1 s, go: b}"))
    engine.resume(0, Signals())
    assert (engine.path, engine.changes) == ("", [])
    engine.begin(0, Signals())
    assert engine.path == "a"
