"""The rules of the behaviour language, R11 to R15, each by small behaviours that read as examples."""

import pytest
from small_behaviours import leaving_by

from rover.activities.registry import ACTIVITIES, specs
from rover.activities.waiting import StandStill
from rover.behaviour.build import Builder
from rover.behaviour.engine import Ending
from rover.behaviour.vocabulary import Progress
from rover.core import Core, StepReadings
from rover.events import Note, StateChange
from rover.files import load
from rover.files.errand import Errand

DONE, FAILED = Progress.DONE, Progress.FAILED


def test_r11_with_is_worked_out_once_at_entry(run_of):
    run = run_of(
        """
settings: {least: 10 cm}
start: a
states:
  a:
    does: reverse
    with: {length: range.distance - settings.least, jaws: open}
    exits: [{when: target.known, go: a}]
""",
        range_distance=0.5,
    )
    run.set(range_distance=0.7)
    run.step()
    run.set(target_known=True)
    run.step()
    assert [(round(values["length"], 9), values["jaws"]) for _, values, _ in run.performer.begun] == [
        (0.4, "open"),
        (0.6, "open"),
    ]


def test_r11_a_value_that_is_not_known_at_entry_fails_the_state_without_an_activity(run_of):
    run = run_of(
        """
start: a
states:
  a: {does: reverse, with: {length: range.distance}, exits: [{when: failed, go: b}]}
  b: {does: stand_still}
""",
        range_distance=float("nan"),
    )
    assert run.performer.log == []
    assert run.engine.unknowns == 1
    assert run.step() == "b"


def test_r11_a_word_is_a_choice_and_never_a_signal(problems_of):
    for word in ("opne", "target", "range.echo", "[open]", "true"):
        assert problems_of(f"start: a\nstates: {{a: {{does: reverse, with: {{length: 1 m, jaws: {word}}}}}}}"), word


def test_r11_a_setting_may_hold_the_word(run_of):
    run = run_of(
        "settings: {how: closed}\nstart: a\nstates: {a: {does: reverse, with: {length: 1 m, jaws: settings.how}}}"
    )
    assert run.performer.begun == [("a", {"length": 1.0, "jaws": "closed"}, 1)]


PART = """
behaviour: Back off
settings: {far: 10 cm, jaws: open}
start: back
states:
  back: {does: reverse, with: {length: settings.far, jaws: settings.jaws}, exits: [{when: done, go: end}]}
  end: {final: done}
"""


def test_r11_from_is_relative_to_its_file(run_of):
    """A part in a folder names another beside it."""
    middle = "behaviour: Middle\nstart: deep\nstates: {deep: {from: back.yaml}}"
    run = run_of(
        "start: a\nstates: {a: {from: parts/middle.yaml}}", {"parts/middle.yaml": middle, "parts/back.yaml": PART}
    )
    assert run.path == "a/deep/back"


def test_r11_a_part_has_only_the_settings_it_declares(run_of, problems_of):
    text = """
settings: {near: 20 cm}
start: a
states:
  a: {from: part.yaml, with: {far: settings.near * 2, jaws: closed}}
"""
    run = run_of(text, {"part.yaml": PART})
    assert run.performer.begun == [("a/back", {"length": 0.4, "jaws": "closed"}, 1)]
    wrong = text.replace("far:", "fare:")
    assert problems_of(wrong, {"part.yaml": PART}) == ["fare: 'part.yaml' has no setting 'fare'; did you mean 'far'?"]
    outside = PART.replace("settings.far", "settings.near")
    assert ["there is no setting 'near' in this file" in one for one in problems_of(text, {"part.yaml": outside})] == [
        True
    ]


@pytest.mark.parametrize("value", ["20 s", "range.distance", "true", "closed"])
def test_r11_a_parts_setting_keeps_its_kind(problems_of, value):
    assert problems_of(f"start: a\nstates: {{a: {{from: part.yaml, with: {{far: {value}}}}}}}", {"part.yaml": PART})


def test_r11_a_part_cannot_contain_itself(problems_of):
    one = "behaviour: One\nstart: a\nstates: {a: {from: two.yaml}}"
    two = "behaviour: Two\nstart: a\nstates: {a: {from: one.yaml}}"
    found = problems_of("start: a\nstates: {a: {from: one.yaml}}", {"one.yaml": one, "two.yaml": two})
    assert found == ["one.yaml: a part cannot contain itself: one.yaml -> two.yaml -> one.yaml"]


class Broken(StandStill):
    """A user's activity with a mistake in it."""

    def step(self, known):
        raise ArithmeticError("the jar ran away")


class BrokenAtOnce(StandStill):
    def __init__(self, known, values):
        raise ArithmeticError("the jar ran away")


@pytest.mark.parametrize("activity", [Broken, BrokenAtOnce])
def test_r12_an_exception_in_an_activity_ends_it_failed_and_is_recorded(tmp_path, robot, activity):
    file = tmp_path / "b.yaml"
    file.write_text(
        "behaviour: T\nstart: a\nstates: {a: {does: 'mine:Broken', exits: [{when: failed, go: b}]}, b: {final: failed}}"
    )
    graph = Builder(specs()).build(load.load(file, "behaviour"))
    core = Core(robot, _errand(), graph, {**ACTIVITIES, "mine:Broken": activity}, seed=1)
    records = [core.step(StepReadings(step * 20_000_000)) for step in range(3)]
    notes = [event.text for record in records for event in record.events if isinstance(event, Note)]
    assert len(notes) == 1
    assert "the jar ran away" in notes[0]
    assert "Traceback" in notes[0]
    assert records[-1].ending == Ending("failed", "b", "when failed")


def _errand() -> Errand:
    return Errand.model_validate(
        {
            "errand": "Bring the jars in",
            "files": {"robot": "cart.yaml", "behaviour": "b.yaml"},
            "field": {
                "boundary": [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "4 m"], ["0 m", "4 m"]],
                "start": {"x": "50 cm", "y": "50 cm", "heading": "0 deg"},
            },
            "kinds": {"amber": {"lid": "amber", "height": "60 mm", "width": "50 mm"}},
        }
    )


def test_r13_the_end_tells_the_final_state_and_the_exit_that_led_there(run_of):
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, exits: [{when: target.known, go: nothing_left}]}
  nothing_left: {final: failed}
"""
    )
    assert run.step() == "a"
    assert run.engine.ending is None
    run.set(target_known=True)
    run.step()
    assert run.engine.ending == Ending("failed", "nothing_left", "when target.known")
    assert run.performer.log[-1] == "cancel"
    assert run.resume() == "nothing_left"


def test_r13_an_inner_end_is_not_the_end(run_of):
    run = run_of(
        "start: a\nstates: {a: {start: b, states: {b: {final: done}}, exits: [{when: done, go: c}]}, c: {final: done}}"
    )
    assert run.engine.ending is None
    assert run.step() == "c"
    assert run.engine.ending == Ending("done", "c", "when done")


def test_r13_a_behaviour_may_end_where_it_starts(run_of):
    run = run_of("start: a\nstates: {a: {final: done}}")
    assert run.engine.ending == Ending("done", "a", "start")


def test_r13_a_diversion_to_a_final_state_ends_it_with_the_exit_that_was_taken(run_of):
    run = run_of(
        """
start: a
states:
  a: {does: stand_still, tries: {at_most: 1, go: no_luck}, exits: [{when: 'true', go: a}]}
  no_luck: {final: failed}
"""
    )
    run.step()
    assert run.engine.ending == Ending("failed", "no_luck", "when true")


def test_r13_each_change_is_noted_with_what_its_condition_saw(run_of):
    run = run_of(leaving_by("{when: range.distance < 30 cm, confirm: 1 of 2, go: b}"))
    run.report("range", range_distance=0.25).step()
    start, change = run.engine.changes
    assert isinstance(start, StateChange)
    assert (start.left, start.entered, start.exit) == ("", "a", "start")
    assert (change.left, change.entered) == ("a", "b")
    assert change.exit == "when range.distance < 30 cm confirm 1 of 2"
    assert change.where.endswith("behaviour.yaml:5")
    assert change.values == {"range.distance": 0.25}


WAYS = """
start: outer
states:
  outer:
    start: a
    states:
      a: {{does: {does}, exits: [{inner}]}}
      b: {{final: done}}
    exits: [{outer}]
  end: {{final: done}}
"""
TIMED, ENDED = "{after: 5 s, go: b}", "{when: done, go: end}"


@pytest.mark.parametrize(
    ("does", "inner", "outer", "why"),
    [
        ("stand_still", TIMED, ENDED, ""),
        ("stand_still", "{when: target.known, go: b}", f"{ENDED}, {{after: 9 s, go: end}}", ""),
        ("stand_still", "{when: target.known, go: b}", ENDED, "no way out by time"),
        ("ask", "{when: done or failed, go: b}", ENDED, ""),
        ("close_jaws", f"{{when: done, go: b}}, {TIMED}", ENDED, "'close_jaws' can fail"),
        ("close_jaws", f"{{when: not done, go: b}}, {TIMED}", ENDED, ""),
        ("stand_still", TIMED, "{when: failed, go: end}", "it can end 'done'"),
    ],
)
def test_r14_way_outs(findings_of, does, inner, outer, why):
    found = [one.why for one in findings_of(WAYS.format(does=does, inner=inner, outer=outer))]
    assert any(one.startswith(why) for one in found) if why else not found


CYCLE = """
start: a
always: [{always}]
states:
  a: {{does: stand_still, {tries} exits: [{{after: 1 s, go: b}}]}}
  b: {{does: stand_still, exits: [{{after: 1 s, go: a}}, {{when: target.known, go: end}}]}}
  end: {{final: done}}
"""


@pytest.mark.parametrize(
    ("always", "tries", "bounded"),
    [
        ("", "", False),
        ("", "tries: {at_most: 3, go: end},", True),
        ("{after: 1 min, go: end, except: [end]}", "", True),
        ("{after: 1 min, go: end, except: [a, end]}", "", True),
        ("{after: 1 min, go: end, except: [a, b, end]}", "", False),
        ("{when: target.known, go: end, except: [end]}", "", False),
    ],
)
def test_r14_every_cycle_is_bounded_by_tries_or_time(findings_of, always, tries, bounded):
    found = [one.why for one in findings_of(CYCLE.format(always=always, tries=tries))]
    assert any(one.startswith("nothing bounds the cycle") for one in found) is not bounded


@pytest.mark.parametrize(
    "name", ["return", "add", "func", "state", "trigger", "to", "model", "class", "is_a", "m", "s", "a_b", "x9"]
)
def test_r15_any_lower_case_name_will_do(run_of, name):
    """Words of the programming language, of the library below and of units too, at both levels at once."""
    run = run_of(
        f"""
start: {name}
states:
  {name}:
    start: {name}
    states: {{{name}: {{does: stand_still, exits: [{{when: 'true', go: ready}}]}}, ready: {{final: done}}}}
    exits: [{{when: done, go: ready}}]
  ready: {{final: done}}
"""
    )
    assert run.path == f"{name}/{name}"
    assert run.steps(2) == [f"{name}/ready", "ready"]


@pytest.mark.parametrize("name", ["Look", "9lives", "a-b", "a/b", "_a", "häuser", "a b", "''"])
def test_r15_other_names_are_refused(problems_of, name):
    assert problems_of(f"start: a\nstates: {{a: {{does: stand_still}}, {name}: {{does: stand_still}}}}")


def test_r15_a_setting_may_be_called_like_a_unit(run_of):
    run = run_of(
        "settings: {m: 3 m, in: 10 in}\n"
        + leaving_by("{when: range.distance < settings.m - settings.in, go: b}").lstrip()
    )
    assert run.report("range", range_distance=2.8).step() == "a"
    assert run.report("range", range_distance=2.7).step() == "b"
