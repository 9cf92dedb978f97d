"""Conditions: what may be written, and what each mistake is told."""

import math

import pytest
from conditions_scope import SCOPE
from hypothesis import given, settings
from hypothesis import strategies as st

from rover import quantities
from rover.behaviour.conditions import Scope, read_condition
from rover.behaviour.conditions import read_expression as read
from rover.behaviour.expression import evaluator
from rover.behaviour.syntax import LONGEST, ConditionError
from rover.behaviour.vocabulary import Signals
from rover.kinds import Number, Truth


def why(text: str, scope: Scope = SCOPE) -> str:
    """Return what is said against a condition."""
    with pytest.raises(ConditionError) as caught:
        read_condition(text, scope)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "value", "dimension"),
    [
        ("10.2 V", 10.2, quantities.VOLTAGE),
        ("10.2V", 10.2, quantities.VOLTAGE),
        ("25 cm", 0.25, quantities.LENGTH),
        ("10 in", 0.254, quantities.LENGTH),
        ("1e3 mm", 1.0, quantities.LENGTH),
        ("1.5E-1 m", 0.15, quantities.LENGTH),
        (".5 m", 0.5, quantities.LENGTH),
        ("30 %", 0.3, quantities.NONE),
        ("5 m/s", 5.0, quantities.SPEED),
        ("2 m/s^2", 2.0, quantities.ACCELERATION),
        ("90 deg", math.pi / 2, quantities.ANGLE),
        ("3", 3, quantities.NONE),
        ("-2 m", -2.0, quantities.LENGTH),
        ("2 m + 50 cm * 2", 3.0, quantities.LENGTH),
        ("6 m / 2 s", 3.0, quantities.SPEED),
        ("6 m/3", 2.0, quantities.LENGTH),
        ("(1 m + 1 in) * 0", 0.0, quantities.LENGTH),
        ("settings.near * 2", 0.44, quantities.LENGTH),
        ("settings.in", 0.254, quantities.LENGTH),
        ("abs(-2 m)", 2.0, quantities.LENGTH),
        ("min(3 m, 20 cm, 1 m)", 0.2, quantities.LENGTH),
        ("max(3, 5)", 5, quantities.NONE),
        ("  3 m ", 3.0, quantities.LENGTH),
    ],
)
def test_a_number_is_joined_to_the_unit_behind_it(text, value, dimension):
    expression = read(text, SCOPE)
    assert isinstance(expression.kind, Number)
    assert expression.kind.dimension == dimension
    assert evaluator(expression)(None) == pytest.approx(value, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "values", "truth"),
    [
        ("battery.volts < 10.2 V and not target.seen", {"battery.volts": 10.0, "target.seen": False}, True),
        ("10 in<range.distance<1 m", {"range.distance": 0.3}, True),
        ("range.distance < 6 m/objects.left", {"range.distance": 2.5, "objects.left": 2}, True),
        ("3 < objects.left or 1 > objects.left", {"objects.left": 2}, False),
        ("abs(wrap(pose.heading - settings.course)) < 5 deg", {"pose.heading": 1.5 + 2 * math.pi}, True),
        ("target.kind == amber", {"target.kind": "amber"}, True),
        ("target.kind != settings.lid", {"target.kind": "teal"}, False),
        ("operator.answer == yes", {"operator.answer": "yes"}, True),
        ("objects.left == settings.most", {"objects.left": 3}, True),
        ("settings.on and true and not false", {}, True),
        ("target.seen == target.known", {"target.seen": True, "target.known": True}, True),
        ("jaws.opening >= 30 %", {"jaws.opening": 0.3}, True),
        ("pose.travelled / run.time > 5 cm/s", {"pose.travelled": 1.0, "run.time": 10.0}, True),
    ],
)
def test_what_a_person_writes(signals, text, values, truth):
    assert evaluator(read_condition(text, SCOPE))(signals(values)) is truth


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("range.distance < 3", "a bare number beside a length; write its unit (m, cm, mm, in)"),
        ("battery.volts < 3 m", "a voltage and a length do not go together"),
        ("pose.x + 3 s < 1 m", "a length and a time do not go together"),
        ("objects.left < 30 cm", "a whole number and a length do not go together"),
        ("min(pose.x, 3 s) < 1 m", "a length and a time do not go together"),
        ("wrap(pose.x) < 1 deg", "wrap takes an angle, but this is a length"),
        ("pose.heading - 90 deg < 5 deg", "a difference of angles needs wrap"),
        ("abs(pose.heading - settings.course) < 5 deg", "a difference of angles needs wrap"),
        ("range.distance == 3 m", "== between measured numbers"),
        ("pose.x != pose.y", "== between measured numbers"),
        ("objects.left == 1.5", "== between measured numbers"),
        ("min(objects.left, 0.5) == 1", "== between measured numbers"),
        ("objects.left", "this is a whole number, not a condition"),
        ("objects.left and target.seen", "a yes or no is due here, but this is a whole number"),
        ("target.seen + 1 > 0", "a number is due here, but this is a yes or no"),
        ("target.seen < target.known", "only numbers can be greater or less"),
        ("target.kind == ambr", "'ambr' is never its value; did you mean 'amber'?"),
        ("operator.answer == maybe", "'maybe' is never its value"),
        ("1 / 0 > 2", "divides by zero"),
        ("pose.x > 1e200 m * 1e200", "too large a number"),
        ("objects.left < 1e200 * 1e200 * 0.5", "too large a number"),
        ("pose.x > 1e999 m", "too large a number"),
        ("range.distance < 3 meters", "'meters' is not a unit"),
        ("range.distance < 30 CM", "'CM' is not a unit; did you mean"),
    ],
)
def test_units_and_kinds_are_checked(text, said):
    assert said in why(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("target.sene", "did you mean 'target.seen'?"),
        ("batery.volts < 3 V", "did you mean 'battery.volts'?"),
        ("range.distance < settings.naer", "there is no setting 'naer' in this file; did you mean 'near'?"),
        ("done and target.sen", "did you mean 'target.seen'?"),
        ("range.distance < range.distnce", "did you mean 'range.distance'?"),
        ("pose.x < posex", "'posex' is no signal or setting"),
        ("target.seen and donne", "a yes or no is due here, but this is an unknown name"),
    ],
)
def test_the_nearest_spelling_is_told(text, said):
    assert said in why(text)


def test_a_mistake_is_told_with_its_place():
    with pytest.raises(ConditionError) as caught:
        read_condition("target.seen and batery.volts < 3 V", SCOPE)
    assert (caught.value.part, caught.value.offset) == ("batery.volts", 16)


@pytest.mark.parametrize(
    "text",
    [
        "objects.left % 2 == 0",
        "objects.left ** 2 > 1",
        "objects.left // 2 > 1",
        "objects.left | 1 > 1",
        "+objects.left > 1",
        "~objects.left > 1",
        "target.seen.real",
        "settings.near.__class__",
        "__class__",
        "__import__('os').system('true')",
        "open('x')",
        "abs(1, 2) > 1",
        "min(1) > 0",
        "abs(x=1) > 1",
        "min(*settings.near) > 1",
        "sum(1, 2) > 1",
        "().__class__",
        "(3 m).real > 1",
        "lambda: true",
        "(lambda s: s)(1)",
        "settings['near']",
        "target[0]",
        "f'{target}' == 1",
        "(x := true)",
        "[true for x in y]",
        "{true for x in y}",
        "(true for x in y)",
        "{'a': 1}",
        "[true]",
        "true if target.seen else false",
        "target.seen is true",
        "objects.left in settings.most",
        "target.seen not in true",
        "'text' == target.kind",
        "b'1'",
        "1j > 0",
        "...",
        "None",
        "await target.seen",
        "yield",
        "target.seen; target.known",
        "target.seen\ntarget.known",
        "import os",
        "target.seen = true",
        "target.seen && target.known",
        "!target.seen",
        "target.seen or",
        "(target.seen",
        "",
        " ",
        "range.distance < 3 ft2",
        "_ > 1",
        "____ > 1 m",
        "s.target_seen",
        "w[0] > 1",
        "now > 1 s",
    ],
)
def test_everything_else_is_refused(text):
    with pytest.raises(ConditionError):
        read_condition(text, SCOPE)


@pytest.mark.parametrize(
    ("text", "hint"),
    [("target.seen && target.known", "write 'and', 'or', 'not'"), ("objects.left = 1", "'==' compares")],
)
def test_habits_from_elsewhere_get_a_hint(text, hint):
    assert hint in why(text)


def test_nothing_is_executed(tmp_path):
    """Neither when it is read nor later: a text with an effect would leave a file."""
    trace = tmp_path / "trace"
    for text in (f"open('{trace}', 'w')", f"[open('{trace}', 'w') for x in (1,)]", f"abs(open('{trace}', 'w'))"):
        with pytest.raises(ConditionError):
            read_condition(text, SCOPE)
    assert not trace.exists()


@pytest.mark.parametrize(
    "text", ["target.seen and " * 40 + "true", "(" * 240 + "true" + ")" * 240, "not " * 120 + "true"]
)
def test_long_and_deep_texts_are_understood_or_refused_but_break_nothing(text):
    if len(text) <= LONGEST and text.count("(") < 200:
        assert isinstance(read_condition(text, SCOPE).kind, Truth)
    else:
        assert "split it" in why(text) or "nests too deeply" in why(text) or "not understood" in why(text)


@pytest.mark.parametrize(
    "text",
    [
        "target.seen\u00a0and true",
        "t\u0430rget.seen",
        "objects.left > \uff13",
        "target.seen\0",
        "5 µm < pose.x",
        "a\tb",
    ],
)
def test_characters_without_a_meaning_are_named(text):
    assert "has no meaning here" in why(text)


@given(st.text(max_size=60))
@settings(max_examples=500)
def test_any_text_is_read_or_refused(text):
    try:
        read(text, SCOPE)
    except ConditionError:
        return


TOKENS = st.one_of(
    st.sampled_from(["(", ")", ",", "and", "or", "not", "<", "==", "+", "-", "*", "/", "%", "min(", "abs(", "wrap("]),
    st.sampled_from(["1", "0", "2.5", "m", "cm", "deg", "s", "m/s", "in", "1e300", "1__", "2e", ".", "true", "is"]),
    st.sampled_from(["target.seen", "objects.left", "pose.x", "pose.heading", "settings.near", "settings.in", "done"]),
)


@given(st.lists(TOKENS, max_size=12).map(" ".join))
@settings(max_examples=1500)
def test_any_text_out_of_the_languages_words_is_read_or_refused(text):
    """What is read can also be worked out: unless it may be unknown."""
    try:
        expression = read(text, SCOPE)
    except ConditionError:
        return
    if not expression.outcomes and not expression.divides and not expression.operands:
        assert evaluator(expression)(Signals()) is not None


def test_outcomes_belong_to_states_only():
    assert "it is not known here" in why("done", Scope())


def test_a_value_fixed_before_the_run_reads_no_signal():
    assert "fixed before the run" in why("target.seen", Scope(signals=False))
