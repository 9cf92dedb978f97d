import math
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from rover.devices.camera.keys import CameraKeys
from rover.devices.drive.keys import DriveKeys
from rover.devices.range.keys import RangeKeys
from rover.files import load
from rover.files.behaviour import Behaviour, Exit, State, Tries
from rover.files.bench import BenchFile, mismatches
from rover.files.errand import Errand
from rover.files.faults import parse_fault
from rover.files.problems import FileProblems
from rover.files.robot import Colour, Robot
from rover.files.yaml_source import read_text

BROKEN = Path(__file__).parents[1] / "broken"


def good(kind: str) -> Any:
    return load.load(BROKEN / "good" / f"{kind}.yaml", kind).model


def read(model: type[BaseModel], text: str) -> Any:
    return load.build(model, read_text(text, Path("file.yaml"), "file.yaml"))


def told(model: type[BaseModel], text: str) -> str:
    with pytest.raises(FileProblems) as refused:
        read(model, text)
    (only,) = refused.value.problems
    return str(only)


def test_a_robot_in_si_units() -> None:
    robot: Robot = good("robot")
    assert robot.body.track == pytest.approx(0.24)
    assert robot.body.metres_per_count == pytest.approx(math.pi * 0.072 / 1320)
    assert robot.devices.drive.dead_band == pytest.approx(0.12)
    assert robot.devices.counts.overdue_after == pytest.approx(0.2)
    assert robot.colours["teal"].hue == (82, 98)


def test_what_a_robot_file_leaves_out_has_its_usual_value() -> None:
    robot: Robot = good("robot")
    assert robot.limits.command_lasts == 0.25
    assert robot.body.effective_track == pytest.approx(0.24 * 1.5)
    assert robot.devices.camera == CameraKeys.model_validate({"driver": "simulated", "field_of_view": "60 deg"})
    assert robot.devices.stop_input is None
    assert list(robot.devices.fitted()) == ["drive", "counts", "heading", "range", "camera", "gripper", "battery"]


def test_no_echo_reads_as_far_as_the_sensor_goes_unless_stated() -> None:
    assert read(RangeKeys, "driver: simulated\nmost: 3 m\n").no_echo_distance == 3.0
    assert read(RangeKeys, "driver: simulated\nmost: 3 m\nno_echo_reads: 2 m\n").no_echo_distance == 2.0


def test_only_a_driver_of_ones_own_may_have_keys_of_its_own() -> None:
    own = read(DriveKeys, "driver: my_lab.motors:Motors\nshunt: 5 mohm\nchannels: [3, {gain: 50 %}]\nmode: quiet\n")
    assert own.options["shunt"] == pytest.approx(0.005)
    assert own.options["channels"] == [3, {"gain": 0.5}]
    assert own.options["mode"] == "quiet"
    assert "unknown key" in told(DriveKeys, "driver: co_processor\nlink: main\nshunt: 5 mohm\n")


def test_a_hue_may_cross_zero() -> None:
    assert read(Colour, "hue: [175, 5]").hue == (175, 5)


@pytest.mark.parametrize("text", ["hue: [-1, 5]", "hue: [true, 5]", "hue: [3, 180]", "hue: [3, 4]\nvalue: [0, 256]"])
def test_a_colour_stays_on_the_scale(text: str) -> None:
    assert told(Colour, text)


def test_an_errand_in_si_units() -> None:
    errand: Errand = good("errand")
    assert errand.field.boundary[2] == (6.0, 4.0)
    assert errand.field.start.heading == 0.0
    assert errand.field.zone is not None
    assert errand.field.zone.entry is None
    assert errand.kinds["amber"].height == pytest.approx(0.06)
    assert (errand.order, errand.expect) == ("nearest", 6)


@pytest.mark.parametrize("order", ["nearest", "in turn", "ask", "[teal, amber]"])
def test_the_orders_of_fetching(order: str) -> None:
    text = (BROKEN / "good" / "errand.yaml").read_text().replace("order: nearest", f"order: {order}")
    assert read(Errand, text).order in (order, ["teal", "amber"])


def test_a_behaviour_keeps_the_words_of_conditions_and_times() -> None:
    behaviour: Behaviour = good("behaviour")
    look = behaviour.states["look"]
    assert look.values == {"rate": "60 deg/s"}
    assert look.tries == Tries(at_most=3, go="home")
    assert look.exits[0] == Exit(when="target.known", confirm="3 of 5", go="fetch")
    assert behaviour.always[1].after == "settings.longest"


def test_except_takes_one_name_or_a_list() -> None:
    assert read(Exit, "{when: range.echo, go: a, except: b}").silent_in == ["b"]
    assert read(Exit, "{when: range.echo, go: a, except: [b, c]}").silent_in == ["b", "c"]


def test_a_condition_may_be_true() -> None:
    assert read(Exit, "{when: True, go: a}").when == "true"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{does: sweep, start: a}", "1:15: 'start': 'start' and 'always' go with 'states'"),
        (
            "{from: a.yaml, always: [{when: range.echo, go: a}]}",
            "1:16: 'always': 'start' and 'always' go with 'states'",
        ),
        (
            "{final: done, with: {rate: 3}}",
            "1:15: 'with': a final state ends its graph: it has no 'exits', 'tries' or 'with'",
        ),
        ("{states: {a: {final: done}}}", "1:1: a state with 'states' needs 'start', the state it begins with"),
        ("{states: {a: {final: done}}, start: a, with: {b: 1}}", "1:40: 'with': 'with' goes with 'does' or 'from'"),
        ("{tries: {at_most: 0, go: a}, does: ask}", "1:19: '0': must be 1 or more"),
        ("{tries: {at_most: true, go: a}, does: ask}", "1:19: 'true': a whole number is due here"),
    ],
)
def test_what_a_state_cannot_be(text: str, said: str) -> None:
    assert told(State, text) == f"file.yaml:{said}"


def test_a_bench_has_the_usual_faults_of_a_floor_unless_it_says_otherwise() -> None:
    bench: BenchFile = good("bench")
    assert bench.floor.slip == (0.0, 0.03)
    assert bench.floor.track_factor == (1.2, 1.9)
    assert bench.range.missing == pytest.approx(0.10)
    assert bench.jar_count == 6
    assert bench.faults == [parse_fault("at 12 s: heading silent for 3 s")]


def test_kinds_of_the_bench_that_the_errand_lacks() -> None:
    bench = read(BenchFile, "bench: Bay\nscatter: {amber: 1, vilet: 2}\n")
    errand = good("errand").model_copy(update={"kinds": {"amber": None, "violet": None}})
    assert mismatches(bench, errand) == [
        (("scatter", "vilet"), "there is no kind 'vilet' in the errand's 'kinds:'; did you mean 'violet'?")
    ]
