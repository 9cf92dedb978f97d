"""Outputs of one's own: values of their kind, and rest."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.activities.output_values import OutputValues
from rover.devices.outputs.keys import OutputKeys


def output(rest, **keys):
    return OutputKeys.model_validate({"driver": "my_lab.own:Own", "rest": rest} | keys)


@pytest.fixture
def values():
    return OutputValues({"lamp": output("0 %"), "siren": output(False), "mast": output("10 mm")})


def told(values):
    return {name: command.value for name, command in values.commands(1, 2)}


def test_all_are_at_rest_until_something_sets_them(values):
    assert told(values) == {"lamp": 0.0, "siren": False, "mast": 0.01}


def test_each_keeps_its_value_until_it_is_set_again(values):
    values.set({"lamp": 1.0})
    values.set({"siren": True})
    assert told(values) == {"lamp": 1.0, "siren": True, "mast": 0.01}
    values.rest()
    assert told(values) == {"lamp": 0.0, "siren": False, "mast": 0.01}


def test_what_changed_is_told_once(values):
    values.set({"lamp": 1.0, "mast": 0.01})
    assert values.changed == {"lamp": 1.0}


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"lmap": 1.0}, "the robot has no output 'lmap'; did you mean 'lamp'?"),
        ({"lamp": True}, "output 'lamp' is a plain number, and True is not"),
        ({"siren": 1.0}, "output 'siren' is a yes or no, and 1.0 is not"),
        ({"mast": math.nan}, "output 'mast' is a length, and nan is not"),
        ({"mast": "20 mm"}, "output 'mast' is a length, and '20 mm' is not"),
    ],
)
def test_of_a_wrong_one_nothing_is_set(values, given, why):
    before = told(values)
    with pytest.raises(ValueError, match="output") as raised:
        values.set({"siren": True} | given)
    assert str(raised.value) == why
    assert told(values) == before


@given(st.lists(st.none() | st.floats(-1.0, 1.0)))
def test_rest_is_rest_whatever_came_before(levels):
    values = OutputValues({"lamp": output("0 %")})
    for level in levels:
        if level is None:
            values.rest()
            assert told(values) == {"lamp": 0.0}
        else:
            values.set({"lamp": level})
            assert told(values) == {"lamp": level}
