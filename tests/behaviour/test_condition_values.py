"""What is compiled says what the text says: held against a slow and obvious evaluator.

Each random expression is made as text and, beside it, as nested Python functions over a mapping of signal values.
"""

import math

import pytest
from conditions_scope import SCOPE
from hypothesis import given, settings
from hypothesis import strategies as st

from rover.behaviour.compile import UNKNOWNS, Compiler
from rover.behaviour.conditions import read_condition
from rover.behaviour.expression import could_be
from rover.behaviour.model import BehaviourGraph, ExitNode, GraphNode, StateNode, Where
from rover.behaviour.syntax import LONGEST, ConditionError
from rover.behaviour.vocabulary import SIGNALS, Signals, attribute_of

LENGTHS = ("range.distance", "pose.x", "pose.y", "pose.travelled")
WHOLES = ("objects.left", "objects.known")
TRUTHS = ("target.seen", "target.known", "range.echo", "battery.ok")
UNKNOWN = (ArithmeticError, ValueError)


def _length_leaf():
    literal = st.sampled_from([("20 cm", 0.2), ("1 m", 1.0), ("10 in", 0.254), ("0 m", 0.0), ("settings.near", 0.22)])
    return st.one_of(
        st.sampled_from(LENGTHS).map(lambda name: (name, lambda values: values[name])),
        literal.map(lambda pair: (pair[0], lambda values: pair[1])),
        st.sampled_from(WHOLES).map(lambda name: (f"({name} * 1 m)", lambda values: values[name] * 1.0)),
    )


def _sums(parts):
    def join(one, other, operator):
        work = {
            "+": lambda v: one[1](v) + other[1](v),
            "-": lambda v: one[1](v) - other[1](v),
            "min": lambda v: min(_not_nan(one[1](v)), _not_nan(other[1](v))),
            "max": lambda v: max(_not_nan(one[1](v)), _not_nan(other[1](v))),
            "ratio": lambda v: one[1](v) / other[1](v) * 0.5,
        }[operator]
        text = {
            "+": f"({one[0]} + {other[0]})",
            "-": f"({one[0]} - {other[0]})",
            "min": f"min({one[0]}, {other[0]})",
            "max": f"max({one[0]}, {other[0]})",
            "ratio": f"({one[0]} / {other[0]} * 50 cm)",
        }[operator]
        return text, work

    pairs = st.builds(join, parts, parts, st.sampled_from(["+", "-", "min", "max", "ratio"]))
    alone = parts.map(lambda one: (f"abs({one[0]})", lambda v: abs(one[1](v)))) | parts.map(
        lambda one: (f"(-{one[0]})", lambda v: -one[1](v))
    )
    return pairs | alone


def _not_nan(value):
    if math.isnan(value):
        raise ValueError("not a number")
    return value


def _compared(one, other, operator):
    def work(values):
        left, right = _not_nan(one[1](values)), _not_nan(other[1](values))
        return {"<": left < right, "<=": left <= right, ">": left > right, ">=": left >= right}[operator]

    return f"{one[0]} {operator} {other[0]}", work


def _strict(combine, parts):
    """Every part is worked out, so that one unknown makes the whole unknown."""
    return lambda values: combine([part[1](values) for part in parts])


def _logic(parts):
    many = st.lists(parts, min_size=2, max_size=3)
    return st.one_of(
        many.map(lambda some: ("(" + " and ".join(part[0] for part in some) + ")", _strict(all, some))),
        many.map(lambda some: ("(" + " or ".join(part[0] for part in some) + ")", _strict(any, some))),
        parts.map(lambda one: (f"(not {one[0]})", lambda values: not one[1](values))),
    )


NUMBERS = st.recursive(_length_leaf(), _sums, max_leaves=4)
COMPARISONS = st.builds(_compared, NUMBERS, NUMBERS, st.sampled_from(["<", "<=", ">", ">="]))
LEAVES = st.one_of(
    COMPARISONS,
    st.sampled_from(TRUTHS).map(lambda name: (name, lambda values: values[name])),
    st.sampled_from([("done", lambda values: values["done"]), ("failed", lambda values: values["failed"])]),
    st.builds(
        lambda name, n: (f"{name} == {n}", lambda values: values[name] == n), st.sampled_from(WHOLES), st.integers(0, 2)
    ),
)
CONDITIONS = st.recursive(LEAVES, _logic, max_leaves=4)
VALUES = st.fixed_dictionaries(
    {
        **{name: st.sampled_from([0.0, 0.1, 0.2, 1.0, -1.0, math.nan]) for name in LENGTHS},
        **{name: st.integers(0, 2) for name in WHOLES},
        **{name: st.booleans() for name in TRUTHS},
        "progress": st.integers(0, 2),
    }
)


@pytest.fixture(scope="module")
def pieces(tmp_path_factory):
    """What it takes to run a condition as the engine does: the one exit of a state, sampled once."""

    def run(text, values):
        where = Where("test", 1, 1)
        one = ExitNode(0, text, where, "a", read_condition(text, SCOPE))
        state = StateNode("a", where, activity="stand_still", exits=(one,))
        compiler = Compiler(BehaviourGraph("test", GraphNode("", where, "a", (), {"a": state}), {"a": state}))
        signals = Signals()
        for name, value in values.items():
            if name in SIGNALS:
                setattr(signals, attribute_of(name), value)
        for device in one.devices:
            setattr(signals, f"{device}_ok", True)
            setattr(signals, f"{device}_n", 1)
        memory = [0] * compiler.places.size
        memory[compiler.places.progress["a"]] = values["progress"]
        taken = compiler.decide("a")(0, signals, memory) == 0
        return None if memory[UNKNOWNS] else taken

    return run


def divides_by_a_constant_zero(text):
    """Such a text is refused when it is read, so there is nothing to compare."""
    try:
        read_condition(text, SCOPE)
    except ConditionError as error:
        return str(error) == "divides by zero"
    return False


@given(CONDITIONS, VALUES)
@settings(max_examples=1500)
def test_compiled_conditions_say_what_their_text_says(pieces, condition, values):
    text, work = condition
    try:
        expected = work(values | {"done": values["progress"] == 1, "failed": values["progress"] == 2})
    except UNKNOWN:
        expected = None
    if len(text) <= LONGEST and not divides_by_a_constant_zero(text):
        assert pieces(text, values) == expected, text


@given(CONDITIONS, VALUES)
@settings(max_examples=500)
def test_could_be_never_leaves_out_what_a_condition_is(condition, values):
    """The analysis asks what a condition could be; the answer may be too wide, never too narrow."""
    text, work = condition
    facts = {"done": values["progress"] == 1, "failed": values["progress"] == 2}
    try:
        truth = work(values | facts)
    except UNKNOWN:
        return
    if len(text) <= LONGEST and not divides_by_a_constant_zero(text):
        assert truth in could_be(read_condition(text, SCOPE), facts)
