"""The guard's rules for wheels and jaws, with time passed in; `test_guard` has them in a real process."""

import pytest

from rover.devices.gripper.keys import CoProcessorGripperKeys
from rover.guard.actuators import COMMANDED_TICK_NS, PENDING_NS, REPEAT_JAWS_NS, REPEAT_ZERO_NS, TICK_NS, Actuators
from rover.guard.output import ZERO
from rover.guard.permission import Permission
from rover.guard.protocol import Command, Ruling
from rover.guard.settings import GuardSettings
from rover.stopping import Act

MS = 1_000_000
SESSION = 5
JAWS = CoProcessorGripperKeys(link="main").options | {"open": 0.0019, "closed": 0.0011}


class Noting:
    """An output that keeps what it is told."""

    def __init__(self):
        self.fault, self.is_stuck, self.pending, self.told = "", False, False, []

    def drive(self, left, right, until_ns):
        self.told.append(("drive", left, right, until_ns))
        return left, right

    def zero(self):
        self.told.append(("zero",))

    def servo(self, pulse_us, until_ns):
        self.told.append(("servo", pulse_us, until_ns))

    def is_pending(self):
        return self.pending

    def taken(self):
        told, self.told = self.told, []
        return told


class Rig:
    def __init__(self, on_stop="hold", push_for=0.4):
        settings = GuardSettings({"port": "none"}, servo=JAWS | {"on_stop": on_stop, "push_for": push_for})
        self.output, self.permission = Noting(), Permission()
        self.permission.enable(SESSION)
        self.actuators = Actuators(settings, self.output, self.permission)
        self._sequence = 0

    def obey(self, now_ns, *, lasts_ns=1000 * MS, pulse_us=None):
        self._sequence += 1
        command = Command(SESSION, self._sequence, now_ns, now_ns + lasts_ns, 0.5, 0.4, pulse_us)
        return self.actuators.obey(command, now_ns)

    def kept(self, *times_ns):
        """Return what the output was told at these times."""
        for now_ns in times_ns:
            self.actuators.keep(now_ns)
        return self.output.taken()


@pytest.fixture
def rig():
    return Rig()


@pytest.mark.parametrize(("lasts_ns", "until_ns"), [(1000 * MS, 250 * MS), (80 * MS, 80 * MS)])
def test_wheels_come_to_zero_at_the_deadline_or_when_the_command_ends(rig, lasts_ns, until_ns):
    assert rig.obey(0, lasts_ns=lasts_ns) is Ruling.ACCEPTED
    assert rig.kept(until_ns - 1) == [("drive", 0.5, 0.4, until_ns)]
    assert (rig.actuators.applied, rig.actuators.ran_out) == ((0.5, 0.4), False)
    assert rig.kept(until_ns) == [("zero",)]
    assert (rig.actuators.applied, rig.actuators.ran_out) == (ZERO, True)


def test_zero_is_said_again_and_again(rig):
    rig.obey(0)
    zero_ns = 250 * MS
    assert rig.kept(zero_ns, zero_ns + REPEAT_ZERO_NS - 1)[1:] == [("zero",)]
    assert rig.kept(zero_ns + REPEAT_ZERO_NS) == [("zero",)]


def test_a_stop_is_zero_at_once_and_refuses_what_comes_after(rig):
    rig.obey(0)
    rig.permission.stop("stop")
    assert rig.obey(MS) is Ruling.STOPPED
    assert rig.kept(MS)[1:] == [("zero",)]


def test_an_output_that_is_not_there_takes_no_command(rig):
    rig.output.fault = "unplugged"
    assert rig.obey(0, pulse_us=1500) is Ruling.NO_OUTPUT
    assert rig.output.taken() == []


def test_the_loop_waits_no_longer_than_the_wheels_may_turn(rig):
    assert rig.actuators.patience_ns(0) == TICK_NS
    rig.obey(0, lasts_ns=30 * MS)
    assert [rig.actuators.patience_ns(now_ns) for now_ns in (0, 25 * MS, 40 * MS)] == [COMMANDED_TICK_NS, 5 * MS, 0]
    rig.output.pending = True
    assert rig.actuators.patience_ns(0) == PENDING_NS


@pytest.mark.parametrize(("on_stop", "pulse_us"), [("hold", 1200), ("release", 1900), ("limp", 0)])
def test_after_a_stop_the_jaws_do_what_the_robot_file_says(on_stop, pulse_us):
    rig = Rig(on_stop=on_stop)
    rig.obey(0, pulse_us=1200)
    rig.permission.stop("stop")
    assert rig.kept(MS)[-1] == ("servo", pulse_us, 251 * MS)


def servo_words(told):
    return [word[1] for word in told if word[0] == "servo"]


def test_jaws_that_hold_after_a_stop_are_told_so_once_a_second():
    rig = Rig(push_for=60.0)
    rig.obey(0, pulse_us=1200)
    rig.permission.stop("stop")
    assert servo_words(rig.kept(MS)) == [1200, 1200]
    assert servo_words(rig.kept(MS + REPEAT_JAWS_NS - 1)) == []
    assert servo_words(rig.kept(MS + REPEAT_JAWS_NS)) == [1200]


def test_jaws_that_nobody_commands_push_for_so_long_from_their_first_pulse_and_go_limp():
    rig = Rig(push_for=0.4)
    for now_ns in (0, 200 * MS):
        rig.obey(now_ns, pulse_us=1200)
    assert servo_words(rig.kept(399 * MS, 449 * MS)) == [1200, 1200], "commanded, the runtime limits how long"
    assert servo_words(rig.kept(450 * MS)) == [0]
    assert servo_words(rig.kept(5_000 * MS)) == []


def test_in_a_hold_the_jaws_keep_what_they_hold_and_the_wheels_stand():
    rig = Rig(on_stop="release", push_for=100.0)
    rig.obey(0, pulse_us=1100)
    rig.permission.act(Act.HOLD, "held")
    assert rig.kept(20 * MS)[-1] == ("zero",)
    assert rig.kept(20 * MS + REPEAT_JAWS_NS)[-1] == ("servo", 1100, 20 * MS + REPEAT_JAWS_NS + 250 * MS)
    rig.permission.stop("stopped by an operator")
    assert ("servo", 1900, 21 * MS + REPEAT_JAWS_NS + 250 * MS) in rig.kept(21 * MS + REPEAT_JAWS_NS)


def test_jaws_that_nobody_commands_push_as_long_as_they_may_and_not_a_moment_less():
    rig = Rig(push_for=0.4)
    rig.obey(1000 * MS, pulse_us=1100)
    assert ("servo", 0, 1649 * MS) not in rig.kept(1250 * MS, 1399 * MS)
    assert ("servo", 0, 1650 * MS) in rig.kept(1400 * MS)
