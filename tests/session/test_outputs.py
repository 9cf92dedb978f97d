"""Outputs of one's own at work: here, and in the process that brings them to rest when the runtime dies or hangs."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from rover.devices.protocols import DriverContext
from rover.devices.readings import OutputCommand
from rover.devices.registry import LoadError
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.session.outputs import OutputsHere
from rover.session.outputs_apart import SLOW, OutputsApart

pytestmark = pytest.mark.real_time

CART = Path(__file__).parents[2] / "config/cart.yaml"
PATIENCE_S = 20.0
LAMPS = """
import time


class Lamp:
    def __init__(self, options, context):
        self.log, self.breaks = options["log"], options.get("breaks", 1000)
        print("a lamp is made")  # what a driver prints harms nothing
        if options.get("is_missing"):
            raise OSError("no such lamp")

    def note(self, text):
        with open(self.log, "a") as log:
            log.write(text)

    def apply(self, command, now_ns):
        print("lamp", command.value)
        self.note(f"{command.value:g} ")

    def close(self):
        self.note("closed")


class Stuck(Lamp):
    def apply(self, command, now_ns):
        while command.value:
            time.sleep(0.01)


class Broken(Lamp):
    failed = 0

    def apply(self, command, now_ns):
        if command.value == 0.5 and self.failed < self.breaks:
            self.failed += 1
            raise OSError("short circuit")
        super().apply(command, now_ns)
"""


@pytest.fixture
def lamp(tmp_path, monkeypatch):
    """A robot with one lamp, and the file in which its driver notes what it was told."""
    (tmp_path / "my_lamps.py").write_text(LAMPS)
    monkeypatch.syspath_prepend(str(tmp_path))
    log = tmp_path / "log"

    def robot(name="Lamp", lift=None, **keys):
        values = yaml_source.read(CART, CART.name).values
        lamp = {"driver": f"my_lamps:{name}", "rest": "0 %", "log": str(log)} | keys
        return Robot.model_validate(values | {"outputs": {"lamp": lamp} | ({"lift": lift} if lift else {})})

    robot.told = lambda: log.read_text() if log.exists() else ""
    yield robot
    sys.modules.pop("my_lamps", None)


def wait_for(condition, what):
    ends_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends_s:
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError(f"never: {what}")


def command(value, lasts_s, now_ns=None, sequence=1):
    now_ns = time.monotonic_ns() if now_ns is None else now_ns
    return [("lamp", OutputCommand(value, sequence, now_ns + round(lasts_s * 1e9)))]


class TestHere:
    def test_it_is_told_each_value_and_at_the_end_is_at_rest(self, lamp):
        outputs = OutputsHere(DriverContext(lamp(), 1, {}))
        outputs.tell(command(0.6, 1.0), 0)
        outputs.close()
        assert lamp.told() == "0.6 0 closed"

    def test_one_that_moves_nothing_stops_nothing_when_it_fails_and_is_tried_again(self, lamp):
        outputs = OutputsHere(DriverContext(lamp("Broken"), 1, {}))
        outputs.tell(command(0.5, 1.0), 0)
        news = outputs.changes()
        assert news.faults == [("lamp", "its driver raised OSError: short circuit")]
        assert news.stops == []
        outputs.tell(command(1.0, 1.0), 200_000_000)
        assert outputs.changes().faults == [("lamp", "")]

    def test_a_command_that_has_ended_before_it_is_told_is_not(self, lamp):
        outputs = OutputsHere(DriverContext(lamp(), 1, {}))
        outputs.tell([("lamp", OutputCommand(1.0, 1, 500))], 1000)
        outputs.close()
        assert lamp.told() == "0 closed"

    def test_one_that_could_not_be_brought_to_rest_is_tried_again_with_nobody_commanding(self, lamp):
        outputs = OutputsHere(DriverContext(lamp("Broken", rest="50 %", breaks=2), 1, {}))
        outputs.tell(command(1.0, 0.0001, now_ns := time.monotonic_ns()), now_ns)
        for later_ms in range(1, 1000, 20):
            outputs.rest_where_due(now_ns + later_ms * 1_000_000)
        assert lamp.told() == "1 0.5 "

    def test_one_that_moves_latches_a_stop(self, lamp):
        robot = lamp("Broken", moves="yes", own_deadline="200 ms", trial="10 %")
        outputs = OutputsHere(DriverContext(robot, 1, {}))
        outputs.tell(command(0.5, 1.0), 0)
        assert outputs.changes().stops == ["lamp: its driver raised OSError: short circuit"]


class TestApart:
    def test_it_is_at_rest_from_the_start_then_as_told_and_at_the_end_at_rest(self, lamp):
        outputs = OutputsApart(lamp(), 1)
        wait_for(lambda: lamp.told() == "0 ", "at rest")
        outputs.tell(command(0.6, 60.0), 0)
        wait_for(lambda: lamp.told() == "0 0.6 ", "lit")
        outputs.close()
        assert lamp.told() == "0 0.6 0 closed"

    def test_without_a_further_command_it_goes_to_rest(self, lamp):
        outputs = OutputsApart(lamp(), 1)
        outputs.tell(command(1.0, 0.25), 0)
        wait_for(lambda: lamp.told().endswith("1 0 "), "back at rest")
        outputs.close()

    @pytest.mark.parametrize(
        ("lasts", "number"), [(60.0, signal.SIGKILL), (60.0, signal.SIGTERM), (0.25, signal.SIGSTOP)]
    )
    def test_so_it_does_when_the_runtime_is_killed_or_halted(self, lamp, tmp_path, lasts, number):
        """A runtime of its own, which renews a command until it is killed."""
        robot = tmp_path / "robot.json"
        robot.write_text(repr({"driver": "my_lamps:Lamp", "rest": "0 %", "log": str(tmp_path / "log")}))
        source = f"""
import sys, time
sys.path.insert(0, {str(tmp_path)!r})
from pathlib import Path
from rover.devices.readings import OutputCommand
from rover.files import yaml_source
from rover.files.robot import Robot
from rover.session.outputs_apart import OutputsApart

values = yaml_source.read(Path({str(CART)!r}), "cart.yaml").values
outputs = OutputsApart(Robot.model_validate(values | {{"outputs": {{"lamp": {robot.read_text()}}}}}), 1)
while True:
    outputs.tell([("lamp", OutputCommand(1.0, 1, time.monotonic_ns() + {round(lasts * 1e9)}))], 0)
    time.sleep(0.02)
"""
        runtime = subprocess.Popen([sys.executable, "-c", source])
        try:
            wait_for(lambda: "1" in lamp.told(), "lit")
            runtime.send_signal(number)
            wait_for(lambda: lamp.told().removesuffix("closed").endswith("1 0 "), "at rest")
        finally:
            runtime.kill()
            runtime.wait()
        wait_for(lambda: lamp.told().endswith("closed"), "let go of")

    def test_a_driver_that_cannot_be_made_is_one_line(self, lamp):
        with pytest.raises(LoadError, match="lamp: no such lamp"):
            OutputsApart(lamp(is_missing=True), 1)

    def test_one_that_does_not_return_never_holds_up_the_runtime(self, lamp):
        outputs = OutputsApart(lamp("Stuck"), 1)
        said = []

        def tell():
            outputs.tell(command(1.0, 60.0), 0)
            said.extend(outputs.changes().faults)
            return said

        wait_for(tell, "found out")
        assert said == [("lamp", SLOW)]
        process = outputs._keepers[0].process.pid
        outputs.close()
        assert not Path(f"/proc/{process}").exists()

    def test_nor_another_one_that_moves_something(self, lamp, tmp_path):
        lift = {"driver": "my_lamps:Lamp", "rest": "0 mm", "log": str(tmp_path / "lift"), "trial": "1 mm"}
        robot = lamp("Stuck", lift=lift | {"moves": "yes", "own_deadline": "200 ms"})
        outputs = OutputsApart(robot, 1)
        ends_ns = time.monotonic_ns() + 300_000_000
        outputs.tell([(name, OutputCommand(1.0, 1, ends_ns)) for name in ("lamp", "lift")], 0)
        wait_for(lambda: (tmp_path / "lift").read_text().endswith("1 0 "), "the lift at rest")
        outputs.close()

    def test_halted_it_does_nothing_meanwhile_and_goes_on_by_itself(self, lamp):
        outputs = OutputsApart(lamp(), 1)
        outputs.halt(0.5)
        time.sleep(0.1)  # longer than the process needs to look; a shorter halt would only miss what is shown
        outputs.tell(command(1.0, 0.3), 0)
        wait_for(lambda: outputs.changes() is None or not outputs._keepers[0]._asked_ns, "an answer")
        assert lamp.told() == "0 "  # what it was told had ended by then
        outputs.close()

    @pytest.mark.parametrize("moves", [False, True])
    def test_its_own_death_is_said_and_stops_a_robot_that_it_moved(self, lamp, moves):
        outputs = OutputsApart(
            lamp(**({"moves": "yes", "own_deadline": "200 ms", "trial": "10 %"} if moves else {})), 1
        )
        os.kill(outputs._keepers[0].process.pid, signal.SIGKILL)
        outputs._keepers[0].process.wait()
        outputs.tell(command(1.0, 60.0), 0)
        news = outputs.changes()
        assert news.faults == [("lamp", "their process has ended")]
        assert news.stops == ["lamp: their process has ended"] * moves
        outputs.close()
