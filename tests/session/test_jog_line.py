"""What jog shows fits a terminal of 80 columns, whatever there is to be said."""

import math
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.readings import BatteryValue, HeadingValue, RangeValue, Reading, WheelCounts
from rover.guard.protocol import State
from rover.session.jog_keys import HELP, SHARES
from rover.session.jog_line import HEAD, SILENT_NS, standing, status
from rover.stopping import Phase

COLUMNS = 80


def session(phase=Phase.STOPPED, cause="", note="", is_running=False, **latest):
    state = State(0, phase, False, False, True, 1, 0, 0.0, 0.0, cause, note)
    readings = {name: Reading(0, 0, value) for name, value in latest.items()}
    return SimpleNamespace(state=state, is_running=is_running, latest=readings)


ANY = st.floats(allow_nan=True, allow_infinity=True)
LATEST = st.fixed_dictionaries(
    {},
    optional={
        "heading": ANY.map(HeadingValue),
        "range": st.one_of(st.none(), ANY).map(RangeValue),
        "battery": ANY.map(BatteryValue),
        "counts": st.builds(WheelCounts, st.integers(-(2**31), 2**31), st.integers(-(2**31), 2**31)),
    },
)


@given(st.sampled_from(Phase), st.text(max_size=160), st.sampled_from(SHARES), st.booleans(), LATEST)
def test_it_fits_80_columns_whatever_is_so(phase, cause, share, is_running, latest):
    at_work = session(phase, cause, is_running=is_running, **latest)
    assert len(status(at_work, share, ("obstacle", "boundary"), 0)) < COLUMNS


def test_the_help_and_the_head_fit_too():
    assert max(map(len, [*HELP.splitlines(), HEAD])) < COLUMNS


@pytest.mark.parametrize(
    ("at_work", "told"),
    [
        (session(Phase.RUNNING, is_running=True), "running"),
        (session(Phase.RUNNING), "STOPPED: "),
        (session(Phase.HELD, "held at the page"), "HELD; g goes on: held at the page"),
        (session(Phase.READY), "reset; g permits motion"),
        (session(Phase.STOPPED, "the stop input is open"), "STOPPED: the stop input is open"),
        (session(Phase.NOT_ENABLED, "", "the line is lost"), "STOPPED: the line is lost"),
    ],
)
def test_held_and_stopped_are_told_as_such(at_work, told):
    assert standing(at_work, (), 0) == told


def test_what_holds_it_back_is_told_and_a_silent_guard():
    running = session(Phase.RUNNING, is_running=True)
    assert standing(running, ("obstacle",), 0) == "held back: obstacle"
    assert standing(running, (), SILENT_NS + 1) == "GUARD SILENT"


def test_heading_and_battery_are_told_when_it_is_stopped_too():
    values = {"heading": HeadingValue(math.radians(-179.94)), "battery": BatteryValue(12.24)}
    values |= {"range": RangeValue(None), "counts": WheelCounts(-124308, 91637)}
    line = status(session(Phase.STOPPED, "the motor guard had to be started again", **values), 0.3, (), 0)
    for told in ("STOPPED: the motor guard", "30%", "-179.9 deg", "no echo", "12.24 V", "-124308 +91637"):
        assert told in line
