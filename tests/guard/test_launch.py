import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from rover.files.robot import Robot
from rover.guard.client import GuardError, state_of
from rover.guard.launch import is_at_work, prepare_folder, settings_of, start_guard
from rover.guard.settings import GuardSettings, load_settings
from rover.stopping import Phase

pytestmark = pytest.mark.real_time

BODY = {"wheel_diameter": "72 mm", "track": "240 mm", "counts_per_rev": 1320, "gripper_reach": "14 cm"}
COUNTS = {"driver": "co_processor", "link": "main"}
ON_LINK = {"driver": "co_processor", "link": "main", "swap_sides": True}
ON_PINS = {
    "driver": "h_bridge",
    "left": {"pwm": 2, "forward": 5, "backward": 6},
    "right": {"pwm": 3, "direction": 7},
    "pwm_chip": 1,
}
JAWS_ON_LINK = {"driver": "co_processor", "link": "main", "on_stop": "release"}
JAWS_ON_PINS = {"driver": "servo_pins", "pwm_channel": 1, "push_for": "20 s"}


def robot(drive: dict, **devices) -> Robot:
    links = {"main": {"port": "/dev/ttyUSB0", "baud": 57600}, "aux": {"port": "/dev/ttyUSB1"}}
    return Robot.model_validate(
        {"robot": "Cart", "body": BODY, "links": links, "devices": {"drive": drive, "counts": COUNTS, **devices}}
    )


def test_a_port_beside_the_current_folder_is_named_in_full():
    """The guard works in another folder."""
    made = robot(ON_LINK)
    links = {"main": made.links["main"].model_copy(update={"port": "far/main"})}
    settings = settings_of(made.model_copy(update={"links": links}))
    assert settings.drive["port"] == str(Path.cwd() / "far/main")


def test_a_robot_without_two_ways_is_refused():
    with pytest.raises(ValueError, match=r"cannot hold what driver 'my_lab\.wheels:Wheels' of drive moves"):
        settings_of(robot({"driver": "my_lab.wheels:Wheels"}))


def test_the_settings_of_a_robot_on_a_line():
    settings = settings_of(robot(ON_LINK, gripper=JAWS_ON_LINK))
    assert settings.is_serial
    assert (settings.drive["port"], settings.drive["baud"], settings.drive["swap_sides"]) == (
        "/dev/ttyUSB0",
        57600,
        True,
    )
    assert settings.servo["on_stop"] == "release"
    assert settings.channels == ()


def test_the_settings_of_a_robot_on_pins():
    settings = settings_of(robot(ON_PINS, gripper=JAWS_ON_PINS, stop_input={"driver": "stop_pin", "pin": 9}))
    assert not settings.is_serial
    motors_and_servo = (("/sys/class/pwm", 1, 2), ("/sys/class/pwm", 1, 3), ("/sys/class/pwm", 0, 1))
    assert settings.channels == motors_and_servo
    assert settings.servo["push_for"] == 20.0
    assert settings.stop_input["pin"] == 9
    assert settings.watchdog is None


def test_settings_are_read_as_they_were_written(tmp_path):
    settings = settings_of(robot(ON_PINS, gripper=JAWS_ON_PINS))
    (tmp_path / "guard.json").write_text(settings.dumps())
    assert load_settings(tmp_path).dumps() == settings.dumps()


def test_a_folder_of_someone_else_is_refused(folder):
    (folder / "elsewhere").mkdir()
    (folder / "link").symlink_to(folder / "elsewhere")
    with pytest.raises(GuardError, match="not a folder of this user"):
        prepare_folder(folder / "link")


def test_a_name_too_long_for_a_socket_is_refused(folder):
    with pytest.raises(GuardError, match="too long a name"):
        prepare_folder(folder / ("x" * 100))


def test_a_stop_survives_the_runtime_and_is_handed_to_the_next(bay, eventually):
    first = bay.start()
    bay.get_going(first)
    first.stop("stopped by an operator")
    eventually(lambda: bay.phase(first) is Phase.STOPPED)
    first.close()
    second = bay.start()
    second.enable()
    eventually(lambda: second.hello() and second.poll() and second.state.permit_holder == second.session)
    assert (second.state.phase, second.state.cause) == (Phase.STOPPED, "stopped by an operator")


def test_a_guard_with_other_settings_is_ended_and_replaced(bay, eventually):
    bay.start()
    before = (bay.channel / "guard.lock").read_text()
    bay.start(deadline_ns=200_000_000)
    assert (bay.channel / "guard.lock").read_text() != before
    assert state_of(bay.channel).phase is Phase.NOT_ENABLED


def workers(bay) -> list[int]:
    return [int(word) for word in (bay.channel / "guard.lock").read_text().split()]


@pytest.mark.parametrize("fate", [signal.SIGKILL, signal.SIGSTOP], ids=["dead", "halted"])
def test_a_guard_without_its_supervisor_is_replaced_and_its_stop_stays(bay, eventually, fate):
    """Alone it would never permit motion again, and a runtime that keeps coming back would keep it alive."""
    first = bay.start()
    bay.get_going(first)
    supervisor, guard = workers(bay)
    os.kill(supervisor, fate)
    eventually(lambda: bay.phase(first) is Phase.STOPPED)
    cause = first.state.cause
    first.close()
    second = bay.start()
    assert not {supervisor, guard} & set(workers(bay))
    eventually(lambda: second.hello() and second.poll() and second.state.output_open)
    assert (second.state.phase, second.state.cause) == (Phase.STOPPED, cause)
    second.reset()
    eventually(lambda: bay.phase(second) is Phase.READY)


def test_a_stop_stays_though_the_settings_are_other_ones_now(bay, eventually):
    first = bay.start()
    bay.get_going(first)
    first.stop("stopped by an operator")
    eventually(lambda: bay.phase(first) is Phase.STOPPED)
    first.close()
    second = bay.start(deadline_ns=200_000_000)
    eventually(lambda: second.hello() and second.poll() and second.state.output_open)
    second.enable()
    eventually(lambda: second.hello() and second.poll() and second.state.permit_holder == second.session)
    assert (second.state.phase, second.state.cause) == (Phase.STOPPED, "stopped by an operator")


def test_a_guard_that_was_never_enabled_leaves_no_stop_behind(bay, eventually):
    bay.start()
    second = bay.start(deadline_ns=200_000_000)
    bay.get_going(second)


@dataclass(frozen=True)
class SettingsOfAnotherRelease(GuardSettings):
    further: int = 0


def test_a_guard_that_cannot_come_up_is_told_with_the_place_of_its_log(folder):
    with pytest.raises(GuardError, match=r"guard\.log says why"):
        start_guard(SettingsOfAnotherRelease(drive={}), folder / "guard")
    assert "Error" in (folder / "guard" / "guard.log").read_text()
    assert not is_at_work(folder / "guard")


def test_the_guard_has_a_session_of_its_own_and_inherits_nothing(bay):
    """No descriptor but its own: what the runtime has open stays the runtime's."""
    secret = os.open(bay.folder, os.O_RDONLY)
    os.set_inheritable(secret, True)
    try:
        bay.start()
    finally:
        os.close(secret)
    for process in (int(word) for word in (bay.channel / "guard.lock").read_text().split()):
        assert os.getsid(process) == process
        names = {os.readlink(entry) for entry in Path(f"/proc/{process}/fd").iterdir()}
        assert str(bay.folder) not in names
        assert os.readlink(f"/proc/{process}/fd/0") == "/dev/null"


HEAVY = {"pydantic", "numpy", "yaml", "transitions", "click"}
LOADED = "import sys, {module}; print(*sorted({{name.partition('.')[0] for name in sys.modules}}))"


@pytest.mark.parametrize(
    "module", ["rover.guard.guard", "rover.guard.supervisor", "rover.guard.client", "rover.devices.drive.h_bridge"]
)
def test_guard_supervisor_and_stop_load_nothing_heavy(module):
    command = [sys.executable, "-c", LOADED.format(module=module)]
    loaded = set(subprocess.run(command, capture_output=True, text=True, check=True, timeout=60).stdout.split())
    assert loaded.isdisjoint(HEAVY)
