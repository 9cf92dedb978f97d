"""What the analysis finds in a behaviour that can be read: a broken graph for each finding, and none in sound ones."""

from pathlib import Path

import pytest

from rover.activities.registry import specs
from rover.behaviour.analysis import examine
from rover.behaviour.build import Builder
from rover.files import load
from rover.files.robot import Robot

BEHAVIOURS = Path(__file__).parents[2] / "behaviours"
LEFT = "{after: 5 s, go: end}"


def states(exits: str = LEFT, more: str = "", always: str = "", does: str = "stand_still") -> str:
    """A behaviour of a state ``a`` with some exits, more states, and an end."""
    return f"""
start: a
always: [{always}]
states:
  a: {{does: {does}, exits: [{exits}]}}
  {more}
  end: {{final: done}}
"""


def nested(inner_exits: str, outer_exits: str, always: str = "", finals: str = "ok: {final: done}") -> str:
    """As `states`, where ``a`` has a graph of its own: ``x`` with some exits, and finals."""
    return f"""
start: a
states:
  a:
    start: x
    always: [{always}]
    states:
      x: {{does: stand_still, exits: [{inner_exits}]}}
      {finals}
    exits: [{outer_exits}]
  b: {{does: stand_still, exits: [{LEFT}]}}
  end: {{final: done}}
"""


BOTH = "ok: {final: done}\n      no: {final: failed}"
PAIR = "b: {does: stand_still, exits: [{after: 1 s, go: a}, {when: target.known, go: end}]}"

FINDINGS = {
    "unreachable": (
        states(more="b: {does: stand_still, exits: [{after: 1 s, go: end}]}"),
        "b",
        "no exit leads to this",
    ),
    "unreachable behind an except": (
        states(more=f"b: {{does: stand_still, exits: [{LEFT}]}}", always="{when: target.seen, go: b, except: [a, b]}"),
        "b",
        "no exit leads to this",
    ),
    "no way out by time": (states("{when: target.known, go: end}"), "a", "no way out by time"),
    "failure without exit": (states(does="close_jaws"), "a", "'close_jaws' can fail, but no exit takes that"),
    "failure that only another progress leaves": (
        states(f"{{when: done, go: end}}, {LEFT}", does="close_jaws"),
        "a",
        "can fail, but no exit takes that",
    ),
    "inner end without exit": (
        nested("{after: 1 s, go: ok}", "{when: failed, go: b}"),
        "a",
        "it can end 'done', but no",
    ),
    "inner end with an exit that may not be taken": (
        nested("{after: 1 s, go: ok}", "{when: done and objects.left == 0, go: b}"),
        "a",
        "it can end 'done' with no exit taken",
    ),
    "one of two inner ends without exit": (
        nested("{after: 1 s, go: ok}, {when: target.known, go: 'no'}", "{when: done, go: b}", finals=BOTH),
        "a",
        "it can end 'failed', but no exit takes that",
    ),
    "unbounded cycle": (states("{after: 1 s, go: b}", PAIR), "a", "nothing bounds the cycle through a, b"),
    "cycle of one": (
        states("{after: 1 s, go: a}, {when: target.known, go: end}"),
        "a",
        "nothing bounds the cycle through a",
    ),
    "cycle in a state that has the time but not the first word": (
        nested("{when: 'true', go: x}", "{after: 9 s, go: b}", finals="{}").replace("      {}\n", ""),
        "x",
        "nothing bounds the cycle through x",
    ),
    "cycle past the counted state": (
        states(
            "{when: target.seen, go: c}, {after: 1 s, go: b}",
            PAIR + "\n  c: {does: stand_still, tries: {at_most: 2, go: end}, exits: [{after: 1 s, go: a}]}",
        ),
        "a",
        "nothing bounds the cycle through a, b",
    ),
    "cycle in which the time is silent": (
        states("{after: 1 s, go: b}", PAIR, always="{after: 1 min, go: end, except: [a, b, end]}"),
        "a",
        "nothing bounds the cycle",
    ),
    "cycle through the timed exit itself": (
        states(
            "{when: target.seen, go: b}, {after: 1 s, go: end}", PAIR, always="{after: 9 s, go: a, except: [a, end]}"
        ),
        "a",
        "nothing bounds the cycle through a, b",
    ),
    "cycle through used-up tries": (
        states(
            "{after: 1 s, go: b}", "b: {does: stand_still, tries: {at_most: 2, go: a}, exits: [{after: 1 s, go: end}]}"
        ),
        "a",
        "nothing bounds the cycle through a",
    ),
    "always that excepts every state": (
        states(always="{when: target.seen, go: end, except: [a, end]}"),
        "when target.seen",
        "never taken: 'except' names every state",
    ),
    "always that is always false": (
        states(always="{when: target.seen and false, go: end, except: end}"),
        "when target.seen and false",
        "never taken: this condition is always false",
    ),
    "progress that the activity does not have": (
        states(f"{{when: done, go: end}}, {LEFT}"),
        "when done",
        "never taken: this state cannot end so (its activity goes on until it is left)",
    ),
    "progress that the graph does not have": (
        nested("{after: 1 s, go: ok}", "{when: done, go: b}, {when: failed, go: end}"),
        "when failed",
        "never taken: this state cannot end so (only done)",
    ),
    "false condition": (states(f"{{when: 'false', go: end}}, {LEFT}"), "when false", "never taken"),
    "later time below an earlier one": (
        states("{after: 1 s, go: end}, {after: 1 s, go: b}", f"b: {{does: stand_still, exits: [{LEFT}]}}"),
        "after 1 s",
        "never taken: an exit above it leaves at that time or before",
    ),
    "the same condition twice": (
        states(
            f"{{when: target.seen, go: end}}, {{when: target.seen, go: b}}, {LEFT}",
            f"b: {{does: stand_still, exits: [{LEFT}]}}",
        ),
        "when target.seen",
        "never taken: an exit above it fires first",
    ),
    "the same condition confirmed below one at once": (
        states(f"{{when: target.seen, go: end}}, {{when: target.seen, confirm: 2 of 3, go: end}}, {LEFT}"),
        "when target.seen confirm 2 of 3",
        "never taken: an exit above it fires first",
    ),
    "an progress below one that takes both": (
        states(
            f"{{when: done or failed, go: end}}, {{when: done and target.seen, go: end}}, {LEFT}", does="close_jaws"
        ),
        "when done and target.seen",
        "never taken: an exit above it fires first",
    ),
    "an progress held by an until below one that takes it": (
        states(
            f"{{when: done or failed, go: end}}, {{when: done, until: target.seen, go: end}}, {LEFT}", does="close_jaws"
        ),
        "when done until target.seen",
        "never taken: an exit above it fires first",
    ),
    "ring of diversions": (
        states(
            "{after: 1 s, go: b}",
            "b: {does: stand_still, tries: {at_most: 1, go: c}, exits: [{after: 1 s, go: c}]}\n"
            "  c: {does: stand_still, tries: {at_most: 1, go: b}, exits: [{after: 1 s, go: end}]}",
        ),
        "b",
        "tries that are used up would go in a ring: b -> c -> b",
    ),
    "ring of one": (
        "start: a\nstates:\n  a: {does: stand_still, tries: {at_most: 1, go: a}, exits: [{after: 1 s, go: end}]}\n"
        "  end: {final: done}",
        "a",
        "would go in a ring: a -> a",
    ),
    "never ends": (
        "start: a\nstates: {a: {does: stand_still, tries: {at_most: 2, go: b}, exits: [{after: 1 s, go: a}]}, "
        "b: {does: ask, exits: [{when: done or failed, go: a}]}}",
        "",
        "the behaviour never ends",
    ),
}


@pytest.mark.parametrize(("text", "shown", "why"), FINDINGS.values(), ids=FINDINGS)
def test_each_finding(findings_of, text, shown, why):
    found = findings_of(text)
    assert any((one.text == shown and one.why.startswith(why)) or why in one.why for one in found), found
    assert not any(one.warning for one in found)


def test_a_finding_tells_where(findings_of):
    (found,) = findings_of(states("{when: target.known, go: end}"))
    assert (found.line, found.column) == (6, 3)


SOUND = {
    "the least": states(),
    "it ends where it starts": "start: a\nstates: {a: {final: done}}",
    "an outer state has the time": nested("{when: target.known, go: ok}", "{when: done, go: b}, {after: 9 s, go: end}"),
    "the operator is asked": states("{when: done or failed, go: end}", does="ask"),
    "an inner end by exits that cover it together with a time": nested(
        "{after: 1 s, go: ok}", "{when: done and objects.left == 0, go: b}, {after: 9 s, go: end}"
    ),
    "an inner end, first one way, else another": nested(
        "{after: 1 s, go: ok}", "{when: done and objects.left == 0, go: b}, {when: done, go: end}"
    ),
    "an inner graph that goes round until it is left": nested(
        "{after: 1 s, go: x}", "{when: done, go: b}", "{after: 9 s, go: ok, except: [ok]}"
    ),
    "a cycle with tries": states("{after: 1 s, go: b}", PAIR.replace("{does", "{tries: {at_most: 2, go: end}, does")),
    "a cycle with a time round it": states(
        "{after: 1 s, go: b}", PAIR, always="{after: 1 min, go: end, except: [end]}"
    ),
    "the same condition, confirmed sooner below": states(
        f"{{when: target.seen, confirm: 3 of 3, go: end}}, {{when: target.seen, confirm: 2 of 5, go: end}}, {LEFT}"
    ),
    "the same condition below, held by an until": states(
        "{when: target.seen, confirm: 3 of 3, go: end}, "
        f"{{when: target.seen, until: target.known, confirm: 3 of 3, go: end}}, {LEFT}"
    ),
    "a shorter time below a longer one": states("{after: 5 s, go: end}, {after: 1 s, go: end}"),
    "an progress below a narrower one": states(
        f"{{when: done and target.seen, go: end}}, {{when: done or failed, go: end}}, {LEFT}", does="close_jaws"
    ),
    "an progress below one that waits for a device": states(
        f"{{when: failed or target.seen, go: end}}, {{when: failed, go: end}}, {LEFT}", does="close_jaws"
    ),
    "an progress below one whose until may not be known": states(
        f"{{when: done or failed, until: pose.x > 1 m, go: end}}, {{when: failed, go: end}}, {LEFT}", does="close_jaws"
    ),
    "always for one state only": states(
        "{after: 1 s, go: b}", f"b: {{does: stand_still, exits: [{LEFT}]}}", "{when: target.seen, go: b, except: [b]}"
    ),
    "a lost camera leads to waiting for it": states(
        "{when: not camera.ok, go: b}, {after: 9 s, go: end}",
        f"b: {{does: stand_still, exits: [{{when: camera.ok, go: end}}, {LEFT}]}}",
    ),
}


@pytest.mark.parametrize("text", SOUND.values(), ids=SOUND)
def test_sound_behaviours_are_not_refused(findings_of, text):
    assert findings_of(text) == []


@pytest.mark.parametrize("file", sorted(BEHAVIOURS.rglob("*.yaml")), ids=lambda file: file.stem)
def test_our_own_behaviours_are_sound(file, robot):
    graph = Builder(specs()).build(load.load(file, "behaviour"))
    assert examine(graph, specs(), robot) == []


def without(robot: Robot, *families: str) -> Robot:
    return robot.model_copy(update={"devices": robot.devices.model_copy(update=dict.fromkeys(families))})


@pytest.mark.parametrize(
    ("lacking", "text", "why"),
    [
        ("camera", states(f"{{when: target.seen, go: end}}, {LEFT}"), "'target.seen' needs the device 'camera'"),
        ("camera", states(f"{{when: not camera.ok, go: end}}, {LEFT}"), "'camera.ok' needs the device 'camera'"),
        (
            "range",
            states(always="{when: range.distance < 1 m, go: end, except: end}"),
            "'range.distance' needs the device",
        ),
        (
            "range",
            states(f"{{when: target.known, until: range.echo, go: end}}, {LEFT}"),
            "'range.echo' needs the device 'range'",
        ),
        (
            "gripper",
            states(f"{{when: failed, go: end}}, {LEFT}", does="close_jaws"),
            "'close_jaws' needs the device 'gripper'",
        ),
        (
            "range",
            states(f"{{when: failed, go: end}}, {LEFT}", does="'run_straight', with: {length: range.distance}"),
            "'range.distance' needs the device 'range'",
        ),
    ],
)
def test_devices_and_signals_that_the_robot_lacks(findings_of, robot, lacking, text, why):
    assert findings_of(text) == []
    assert [one.why[: len(why)] for one in findings_of(text, without(robot, lacking))] == [why]


@pytest.mark.parametrize(
    ("feedback", "signal", "given"),
    [
        ("none", "jaws.opening > 10 %", False),
        ("switch", "jaws.opening > 10 %", False),
        ("position", "jaws.opening > 10 %", True),
        ("none", "jaws.holding", False),
        ("switch", "jaws.holding", True),
    ],
)
def test_signals_that_a_gripper_cannot_give(findings_of, robot, feedback, signal, given):
    assert robot.devices.gripper is not None
    gripper = robot.devices.gripper.model_copy(update={"feedback": feedback})
    robot = robot.model_copy(update={"devices": robot.devices.model_copy(update={"gripper": gripper})})
    found = findings_of(states(f"{{when: {signal}, go: end}}, {LEFT}"), robot)
    assert ([one.why for one in found] == []) is given
    assert all("this robot cannot give" in one.why for one in found)


CLOSE_IN = "{does: close_in, exits: [{when: done or failed, go: end}, {after: 5 s, go: end}]}"


@pytest.mark.parametrize(
    ("condition", "target", "warned"),
    [
        ("not camera.ok", CLOSE_IN, True),
        ("not camera.ok and target.known", CLOSE_IN, True),
        (
            "not camera.ok",
            f"{{start: x, states: {{x: {CLOSE_IN}, end: {{final: done}}}}, exits: [{{when: done, go: end}}]}}",
            True,
        ),
        ("camera.ok", CLOSE_IN, False),
        ("not range.ok", CLOSE_IN, False),
        ("not camera.ok", "{does: stand_still, exits: [{after: 5 s, go: end}]}", False),
    ],
)
def test_a_lost_device_that_leads_to_a_need_of_it_is_warned_of(findings_of, condition, target, warned):
    for text in (
        states(f"{{when: {condition}, go: b}}, {LEFT}", f"b: {target}"),
        states(more=f"b: {target}", always=f"{{when: {condition}, go: b, except: [b]}}"),
    ):
        found = findings_of(text)
        assert [one.warning for one in found] == [True] * warned, found
        assert all("whose activity 'close_in' needs camera" in one.why for one in found)


def test_without_a_robot_only_the_structure_is_looked_at(graph_of):
    text = states(f"{{when: range.distance < 1 m, go: end}}, {LEFT}")
    assert examine(graph_of(text), specs(), None) == []
