"""Pins: what is asked of the kernel's interface, what its refusals mean, and the kernel itself where there is one."""

import errno
import grp
import os
import sys
from contextlib import closing
from pathlib import Path

import pytest

from rover.devices.kernel.files import DeviceError, explain
from rover.devices.kernel.gpio import Edge, InputLines, OutputLines


def test_outputs_are_low_from_the_start_and_low_again_at_the_end(board):
    board.level[4] = True
    with closing(OutputLines(board.CHIP, [4, 5])) as lines:
        assert not board.level[4]
        lines.set({4: True, 5: True})
        assert (board.level[4], board.level[5]) == (True, True)
    assert (board.level[4], board.level[5], board.held) == (False, False, set())
    lines.close()


def test_inputs_ask_for_both_edges_by_the_monotonic_clock(board):
    with closing(InputLines(board.CHIP, [3], "pull_up", debounce_s=0.005)):
        asked = board.requests[0].settings
        assert (asked.edge_detection, asked.event_clock, asked.bias) == ("both", "monotonic", "up")
        assert asked.debounce_period.total_seconds() == 0.005


def test_edges_come_once_and_in_order(board):
    with closing(InputLines(board.CHIP, [3])) as lines:
        board.edge(3, True, 100)
        board.edge(3, False, 250)
        assert lines.edges() == [Edge(3, True, 100, 1), Edge(3, False, 250, 2)]
        assert lines.edges() == []
        assert not lines.is_high(3)


@pytest.mark.parametrize(
    ("refusal", "said"),
    [
        (OSError(errno.EBUSY, "busy"), "line 3: in use by another program or by the kernel"),
        (OSError(errno.EINVAL, "invalid"), "line 3: the chip has no such line"),
        (ValueError("no such line"), "line 3: the chip has no such line"),
        (FileNotFoundError(errno.ENOENT, "none"), "/dev/gpiochip0 is not there"),
        (PermissionError(errno.EACCES, "denied"), "permission denied; add the user to the group"),
        (OSError(errno.ENODEV, "gone"), "was it unplugged"),
    ],
)
@pytest.mark.parametrize("kind", [OutputLines, InputLines])
def test_each_refusal_says_what_to_do_in_one_line(board, refusal, said, kind):
    board.refusal = refusal
    with pytest.raises(DeviceError, match=said) as caught:
        kind(board.CHIP, [3])
    assert "\n" not in str(caught.value)


def test_a_missing_package_is_told_with_how_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "gpiod", None)
    with pytest.raises(DeviceError, match="-m pip install 'gpiod"):
        OutputLines("/dev/gpiochip0", [3])


def test_the_group_to_join_is_that_of_the_file(tmp_path):
    path = tmp_path / "gpiochip0"
    path.touch()
    denied = PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    group = grp.getgrgid(path.stat().st_gid).gr_name
    advice = "install the device rules" if group == "root" else f"usermod -aG {group}"
    assert advice in explain(denied, path)


def test_a_folder_stands_for_a_chip(tmp_path):
    with closing(OutputLines(str(tmp_path), [1])) as output, closing(InputLines(str(tmp_path), [1, 2])) as lines:
        assert not lines.is_high(1)
        output.set({1: True})
        assert lines.is_high(1)
        assert lines.is_high(2), "a line that nobody wrote floats high, so that a stop input reads as open"
        assert lines.edges() == []


NEEDS_GPIO = "needs the extra 'gpio': pip install -e '.[gpio]'"
SIMULATED = sorted(Path("/sys/devices/platform").glob("gpio-sim.*/gpiochip*/sim_gpio0"))


@pytest.mark.skipif(not SIMULATED, reason="needs a simulated GPIO chip: a kernel with gpio-sim, and a chip set up")
def test_the_kernels_own_edges():
    """A chip of the kernel's gpio-sim: its pull is set from outside, as a wire would."""
    pytest.importorskip("gpiod", reason=NEEDS_GPIO)
    pull = SIMULATED[0] / "pull"
    pull.write_text("pull-down")
    with closing(InputLines(f"/dev/{SIMULATED[0].parent.name}", [0])) as lines:
        pull.write_text("pull-up")
        pull.write_text("pull-down")
        rise, fall = lines.edges()
        assert (rise.rising, fall.rising, fall.sequence - rise.sequence) == (True, False, 1)
        assert fall.taken_ns > rise.taken_ns


def test_the_real_package_has_the_names_that_are_used():
    """Where the package is installed but there is no chip, the real call gets as far as the missing file."""
    pytest.importorskip("gpiod", reason=NEEDS_GPIO)
    for kind in (OutputLines, InputLines):
        with pytest.raises(DeviceError, match="nowhere is not there"):
            kind("/dev/nowhere", [3])
