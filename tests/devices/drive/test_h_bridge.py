"""The H-bridge driver on the kernel's PWM files and a board's lines."""

import math
from contextlib import closing

import pytest

from rover.devices.drive.h_bridge import HBridge
from rover.devices.drive.keys import HBridgeKeys
from rover.devices.kernel.files import DeviceError

PINS = {"left": {"pwm": 0, "forward": 5, "backward": 6}, "right": {"pwm": 1, "forward": 7, "backward": 8}}
ONE_PIN = {"left": {"pwm": 0, "direction": 5}, "right": {"pwm": 1, "direction": 7}}
PERIOD = 50_000


@pytest.fixture
def options(pwm, board):
    pwm.add_channel(0)
    pwm.add_channel(1)
    return HBridgeKeys(pwm_files=str(pwm.root), **PINS).options


def motors(pwm, board):
    """Return the signed duties that the motors get: the PWM's share, by the direction pin that is high."""
    signs = [board.level[forward] - board.level[backward] for forward, backward in ((5, 6), (7, 8))]
    return [sign * int(pwm.value(side, "duty_cycle")) / PERIOD for side, sign in enumerate(signs)]


def test_forwards_backwards_and_zero(options, pwm, board):
    with closing(HBridge(options)) as bridge:
        assert bridge.apply(0.5, -0.25) == (0.5, -0.25)
        assert motors(pwm, board) == [0.5, -0.25]
        bridge.zero()
        assert motors(pwm, board) == [0.0, 0.0]
        assert not any(board.level.values())


def test_a_reversal_takes_two_commands_the_first_of_which_brings_zero(options, pwm, board):
    with closing(HBridge(options)) as bridge:
        bridge.apply(0.5, 0.5)
        assert bridge.apply(-0.5, 0.5) == (0.0, 0.5)
        assert bridge.apply(-0.5, 0.5) == (-0.5, 0.5)
        assert motors(pwm, board) == [-0.5, 0.5]


@pytest.mark.parametrize("at_zero", ["coast", "brake"])
def test_the_pins_of_a_side_are_never_high_together_and_turn_at_zero_duty_only(options, pwm, board, at_zero):
    """Every write is looked at: in whatever order duties come, both pins high never stand on the lines."""
    level = dict.fromkeys((5, 6, 7, 8), False)
    with closing(HBridge(options | {"at_zero": at_zero})) as bridge:
        for duty in (0.5, -0.5, -0.5, 0.0, 0.3, 0.0, -1.0, -0.2, 0.2, 0.2, -0.2, -0.2):
            start = len(board.history)
            before = int(pwm.value(0, "duty_cycle"))
            bridge.apply(duty, -duty)
            turned = [write for write in board.history[start:] if any(write.values())]
            assert not turned or before == 0
            for write in board.history[start:]:
                level |= write
                assert level[5] + level[6] <= 1
                assert level[7] + level[8] <= 1


def test_a_brake_leaves_the_direction_pins_and_no_duty(options, pwm, board):
    with closing(HBridge(options | {"at_zero": "brake"})) as bridge:
        bridge.apply(0.5, 0.5)
        bridge.zero()
        assert (board.level[5], pwm.value(0, "duty_cycle")) == (True, "0")


def test_one_direction_pin(options, pwm, board):
    with closing(HBridge(options | ONE_PIN)) as bridge:
        bridge.apply(0.5, -0.5)
        assert (board.level[5], board.level[7]) == (True, False)
        assert [pwm.value(side, "duty_cycle") for side in (0, 1)] == ["25000", "25000"]


@pytest.mark.parametrize(
    ("wiring", "seen"),
    [
        ({}, [0.5, 0.25]),
        ({"swap_sides": True}, [0.25, 0.5]),
        ({"reverse_left": True}, [-0.5, 0.25]),
        ({"reverse_right": True, "swap_sides": True}, [-0.25, 0.5]),
    ],
)
def test_wiring_is_put_right_by_the_robot_file(options, pwm, board, wiring, seen):
    with closing(HBridge(options | wiring)) as bridge:
        assert bridge.apply(0.5, 0.25) == (0.5, 0.25)
        assert motors(pwm, board) == seen


def test_what_lies_beyond_full_duty_is_cut(options, pwm, board):
    with closing(HBridge(options)) as bridge:
        assert bridge.apply(7.0, -7.0) == (1.0, -1.0)
        assert motors(pwm, board) == [1.0, -1.0]


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_no_number_is_refused_and_changes_neither_side(options, pwm, board, bad):
    with closing(HBridge(options)) as bridge:
        bridge.apply(0.5, 0.5)
        for pair in ((bad, 0.1), (0.1, bad)):
            with pytest.raises(ValueError, match="not carried out"):
                bridge.apply(*pair)
        assert motors(pwm, board) == [0.5, 0.5]


def test_the_enable_pin_is_high_only_while_the_bridge_is_there(options, board):
    with closing(HBridge(options | {"enable": 9})):
        assert board.level[9]
    assert not board.level[9]


def test_closing_leaves_nothing_energised_and_gives_the_pins_back(options, pwm, board):
    bridge = HBridge(options)
    bridge.apply(0.5, -0.5)
    bridge.close()
    bridge.close()
    assert pwm.is_silent(0)
    assert pwm.is_silent(1)
    assert not any(board.level.values())
    assert board.held == set()


def test_a_channel_that_cannot_be_had_leaves_nothing_energised(options, pwm, board):
    """The second channel is missing: the first is off again, and the lines are low and given back."""
    options = options | {"enable": 9, "right": options["right"] | {"pwm": 7}}
    (pwm.root / "pwmchip0" / "pwm7").mkdir()
    (pwm.root / "pwmchip0" / "pwm7" / "period").mkdir()
    with pytest.raises(OSError, match="pwm7"):
        HBridge(options)
    assert pwm.is_silent(0)
    assert not any(board.level.values())
    assert board.held == set()


def test_lines_in_use_leave_the_channels_alone(options, pwm, board):
    board.held = {6}
    with pytest.raises(DeviceError, match="lines 5, 6, 7, 8: in use by another program"):
        HBridge(options)
    assert pwm.written == []


def test_one_side_that_fails_does_not_keep_the_other_from_zero(options, pwm, board, monkeypatch):
    with closing(HBridge(options)) as bridge:
        bridge.apply(0.5, 0.5)
        monkeypatch.setattr(bridge._left, "zero", lambda: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            bridge.zero()
        assert pwm.value(1, "duty_cycle") == "0"


def test_the_pins_may_be_files_in_a_folder(options, pwm, tmp_path):
    with closing(HBridge(options | {"gpio": str(tmp_path)})) as bridge:
        bridge.apply(0.5, -0.5)
        assert [(tmp_path / f"line{pin}").read_text() for pin in (5, 6, 7, 8)] == ["1\n", "0\n", "0\n", "1\n"]
    assert {(tmp_path / f"line{pin}").read_text() for pin in (5, 6, 7, 8)} == {"0\n"}
