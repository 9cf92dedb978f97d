"""The servo gripper on the kernel's PWM files: pulses, limits, slew, pushing, stops and feedback."""

import math
from contextlib import closing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.devices.gripper.keys import ServoPinsKeys
from rover.devices.gripper.servo_pins import Gripper, Slew, pulse_for
from rover.devices.kernel.files import DeviceError
from rover.devices.readings import JawsCommand, JawsValue

SECOND = 1_000_000_000
MS = 1_000_000
NEVER = 10**18


@pytest.fixture
def options(pwm):
    pwm.add_channel(1)
    keys = ServoPinsKeys(pwm_channel=1, pwm_files=str(pwm.root), travel_time="0.5 s", push_for="2 s")
    return keys.options


def told(opening, expires_ns=NEVER):
    return JawsCommand(opening, 1, expires_ns)


def pulse_us(pwm):
    return int(pwm.value(1, "duty_cycle")) / 1000


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_no_opening_makes_a_pulse_beyond_the_ends(opening):
    assert 0.0011 <= pulse_for(opening, 0.0011, 0.0019) <= 0.0019 + 1e-12
    assert 0.0011 <= pulse_for(opening, 0.0019, 0.0011) <= 0.0019 + 1e-12


@pytest.mark.parametrize("opening", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused_and_leaves_the_jaws(options, pwm, opening):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(1.0), 0)
        with pytest.raises(ValueError, match="not carried out"):
            gripper.apply(told(opening), 0)
        assert pulse_us(pwm) == 1900


def test_the_servo_is_limp_until_it_is_told(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.poll(0)
        assert pulse_us(pwm) == 0


def test_the_jaws_travel_no_faster_than_stated(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(1.0), 0)
        gripper.apply(told(0.0), 0)
        seen = []
        for now_ms in (0, 100, 250, 500, 600):
            gripper.poll(now_ms * MS)
            seen.append(pulse_us(pwm))
        assert seen == pytest.approx([1900, 1740, 1500, 1100, 1100])


def test_a_command_that_has_expired_changes_nothing(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(1.0), 0)
        gripper.apply(told(0.0, expires_ns=SECOND), SECOND)
        gripper.poll(5 * SECOND)
        assert pulse_us(pwm) == 1900


def test_pushing_ends_after_its_time_and_repeating_the_command_does_not_renew_it(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(1.0), 0)
        pulses = {}
        for now_ms in range(0, 4000, 100):
            gripper.apply(told(0.0), now_ms * MS)
            pulses[now_ms] = pulse_us(pwm)
        assert pulses[2500] == 1100
        assert pulses[2600] == 0, "half a second of travel, two of pushing"
        assert pulses[3900] == 0
        gripper.apply(told(1.0), 4 * SECOND)
        assert pulse_us(pwm) == 1900


def test_open_jaws_push_on_nothing(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(1.0), 0)
        gripper.poll(100 * SECOND)
        assert pulse_us(pwm) == 1900


@given(st.lists(st.tuples(st.integers(0, 10**9), st.one_of(st.none(), st.floats(0.0, 1.0))), max_size=20))
def test_the_opening_stays_in_range_and_never_jumps_once_it_is_known(steps):
    slew, now_ns = Slew(0.5, 100.0), 0
    for lasts_ns, target in steps:
        before = slew.opening
        now_ns += lasts_ns
        slew.aim(target, now_ns)
        assert slew.opening is None or 0.0 <= slew.opening <= 1.0
        if None not in (before, slew.opening):
            assert abs(slew.opening - before) <= lasts_ns / 1e9 / 0.5 + 1e-9


@pytest.mark.parametrize(("on_stop", "pulse"), [("hold", 1100), ("release", 1900), ("limp", 0)])
def test_a_stop_leaves_the_jaws_as_the_robot_file_says(options, pwm, on_stop, pulse):
    with closing(Gripper(options | {"on_stop": on_stop})) as gripper:
        gripper.apply(told(0.0), 0)
        gripper.stop(0)
        gripper.poll(SECOND)
        assert pulse_us(pwm) == pulse


def test_a_hold_after_a_stop_ends_with_the_pushing_time(options, pwm):
    with closing(Gripper(options)) as gripper:
        gripper.apply(told(0.0), 0)
        gripper.stop(SECOND)
        gripper.poll(3 * SECOND)
        assert pulse_us(pwm) == 0


def test_closing_leaves_the_servo_limp(options, pwm):
    gripper = Gripper(options)
    gripper.apply(told(0.0), 0)
    gripper.close()
    assert pwm.is_silent(1)


def test_without_feedback_nothing_is_reported(options):
    with closing(Gripper(options)) as gripper:
        assert list(gripper.poll(0)) == []


def test_a_switch_tells_that_something_is_held(options, board):
    board.level[12] = True
    with closing(Gripper(options | {"feedback": "switch", "feedback_pin": 12})) as gripper:
        assert gripper.poll(0)[0].value == JawsValue(None, False)
        board.level[12] = False
        assert gripper.poll(SECOND)[0].value == JawsValue(None, True)
    assert board.held == set()


@pytest.mark.parametrize(
    ("reads", "value"), [("900", JawsValue(0.0, False)), ("500", JawsValue(0.5, True)), ("80", JawsValue(1.0, True))]
)
def test_a_position_tells_the_opening_and_what_keeps_the_jaws_from_closing(options, tmp_path, reads, value):
    file = tmp_path / "in_voltage1_raw"
    file.write_text(reads)
    keys = {"feedback": "position", "feedback_file": str(file), "reads_closed": 900.0, "reads_open": 100.0}
    with closing(Gripper(options | keys)) as gripper:
        gripper.apply(told(0.0), 0)
        assert gripper.poll(0)[0].value == value


@pytest.mark.parametrize(("reads", "holding"), [("700", True), ("300", False)])
def test_a_current_tells_that_closed_jaws_push(options, tmp_path, reads, holding):
    file = tmp_path / "in_current0_raw"
    file.write_text(reads)
    with closing(
        Gripper(options | {"feedback": "current", "feedback_file": str(file), "holds_above": 500.0})
    ) as gripper:
        gripper.apply(told(0.0), 0)
        assert gripper.poll(0)[0].value == JawsValue(None, holding)


def test_a_feedback_file_that_is_not_there_is_told_before_anything_is_energised(options, pwm, tmp_path):
    keys = {"feedback": "current", "feedback_file": str(tmp_path / "none"), "holds_above": 500.0}
    with pytest.raises(DeviceError, match="none is not there"):
        Gripper(options | keys)
    assert pwm.written == []


def test_a_channel_that_cannot_be_had_gives_the_switch_back(options, board):
    with pytest.raises(DeviceError, match="no PWM chip 4"):
        Gripper(options | {"feedback": "switch", "feedback_pin": 12, "pwm_chip": 4})
    assert board.held == set()
