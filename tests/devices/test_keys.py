"""The keys of these drivers in a robot file: what is missing or cannot be is told at its own line."""

import pytest
from pydantic import ValidationError

from rover.devices.counts.encoder_pins import Counts
from rover.devices.drive.h_bridge import HBridge
from rover.devices.drive.keys import CoProcessorDriveKeys
from rover.devices.families import FAMILIES, model_for
from rover.files.load import load
from rover.files.problems import FileProblems
from rover.files.types import due_in, keys_of

HEAD = """\
robot: Cart on pins
body: {wheel_diameter: 72 mm, track: 240 mm, counts_per_rev: 1320, gripper_reach: 16 cm}
devices:
"""
DRIVE = """\
  drive:
    driver: h_bridge
    left: {pwm: 0, forward: 5, backward: 6}
    right: {pwm: 1, direction: 7}
"""
COUNTS = """\
  counts:
    driver: encoder_pins
    left: {a: 20, b: 21}
    right: {a: 22, b: 23}
"""
OTHERS = """\
  range:
    driver: echo_pins
    trigger: 24
    echo: 25
    rate: 15 Hz
    temperature: 14 degC
    median_of: 3
  gripper:
    driver: servo_pins
    pwm_channel: 2
    push_for: 30 s
    feedback: position
    feedback_file: /sys/bus/iio/devices/iio:device0/in_voltage1_raw
    reads_closed: 900
    reads_open: 100
  battery:
    driver: adc_file
    file: /sys/bus/iio/devices/iio:device0/in_voltage0_raw
    divider: 4.2
    scale: 0.8 mV
  stop_input: {driver: stop_pin, pin: 17}
panel: {start_button: 2, light: 3, buzzer: 4}
"""
ROBOT = HEAD + DRIVE + COUNTS + OTHERS


def read(tmp_path, text):
    path = tmp_path / "cart.yaml"
    path.write_text(text)
    return load(path, "robot").model


def test_a_robot_on_pins_hands_its_keys_to_the_drivers(tmp_path, pwm, board):
    devices = read(tmp_path, ROBOT).devices
    pwm.add_channel(0)
    pwm.add_channel(1)
    HBridge(devices.drive.options | {"pwm_files": str(pwm.root)}).close()
    Counts(devices.counts.options).close()
    assert devices.battery.options["scale"] == pytest.approx(0.0008)
    assert devices.gripper.options["push_for"] == 30.0


def test_a_script_carries_units(tmp_path):
    battery = "  battery:\n    driver: scripted\n    script: [[0 s, 12.4 V], [500 ms, 9.8 V, 2 A]]\n"
    devices = read(tmp_path, HEAD + DRIVE + COUNTS + battery).devices
    assert devices.battery.options["script"] == [[0.0, 12.4], [0.5, 9.8, 2.0]]


DRIVERS = [(name, family.keys, driver) for name, family in FAMILIES.items() for driver in family.keys.DRIVERS]


@pytest.mark.parametrize(("name", "family", "driver"), DRIVERS)
def test_the_name_of_a_driver_is_that_of_its_model(name, family, driver):
    model = model_for(name, driver)
    assert issubclass(model, family)
    assert model.model_fields["driver"].default == driver


@pytest.mark.parametrize(("name", "family", "driver"), DRIVERS)
@pytest.mark.parametrize("fake", ["scripted", "simulated"])
def test_a_fake_has_every_key_of_its_family_and_needs_none(name, family, driver, fake):
    made = family.model_validate({"driver": fake})
    assert isinstance(made, family)
    assert made.options.keys() >= set(keys_of(model_for(name, driver)))


@pytest.mark.parametrize("name", FAMILIES)
def test_a_key_is_of_the_same_kind_with_every_driver_of_a_family(name):
    """So a fake may take it, and a robot file keeps its meaning when the driver changes."""
    kinds = {}
    for model in FAMILIES[name].keys.DRIVERS.values():
        for key, field in model.model_fields.items():
            if key not in ("driver", "link"):
                kinds.setdefault(key, set()).add(due_in(field.rebuild_annotation()) or str(field.annotation))
    assert {key: kind for key, kind in kinds.items() if len(kind) > 1} == {}


def test_a_built_in_driver_does_not_take_what_only_ones_own_have():
    with pytest.raises(ValidationError, match="own_deadline"):
        CoProcessorDriveKeys(link="main", own_deadline="250 ms")
    assert CoProcessorDriveKeys.why_unknown("own_deadline") == "a key of drivers of your own, not of this one"


@pytest.mark.parametrize(
    ("change", "to", "line", "said"),
    [
        ("    left: {pwm: 0, forward: 5, backward: 6}\n", "", 4, "driver 'h_bridge' needs 'left:' beside it"),
        ("backward: 6}", "backward: 5}", 7, "a pin is named twice"),
        ("{pwm: 0, forward: 5, backward: 6}", "{pwm: 0, forward: 5}", 6, "'forward:' and 'backward:', or 'direction:'"),
        ("{pwm: 1, direction: 7}", "{pwm: 0, direction: 7}", 7, "the left side has this channel"),
        ("forward: 5", "forward: -5", 6, "must be 0 or more"),
        ("    right: {a: 22, b: 23}\n", "", 8, "driver 'encoder_pins' needs 'right:' beside it"),
        ("{a: 22, b: 23}", "{a: 20, b: 23}", 11, "a pin is named twice"),
        ("    echo: 25\n", "", 12, "driver 'echo_pins' needs 'echo:' beside it"),
        ("echo: 25", "echo: 24", 15, "this is the trigger's pin"),
        ("15 Hz", "20 Hz", 16, "echoes of one ping must die away before the next; 16 Hz at most"),
        ("14 degC", "14", 17, "a bare number where a temperature is due"),
        ("14 degC", "90 degC", 17, "must lie between -20 degC and 50 degC"),
        ("median_of: 3", "median_of: 4", 18, "must be odd"),
        ("    pwm_channel: 2\n", "", 19, "driver 'servo_pins' needs 'pwm_channel:' beside it"),
        ("    reads_closed: 900\n", "", 23, "'feedback: position' needs 'reads_closed:' beside it"),
        ("reads_open: 100", "reads_open: 900", 26, "the same as 'reads_closed'"),
        ("push_for: 30 s", "open: 1900 ms", 22, "a servo pulse is shorter than 20 ms"),
        ("in_voltage0_raw\n    divider: 4.2", "in_voltage0_raw\n    divider: 0", 30, "must be more than zero"),
        ("    file: /sys/bus/iio/devices/iio:device0/in_voltage0_raw\n", "", 27, "driver 'adc_file' needs 'file:'"),
        ("pin: 17}", "pin: 17, bias: none}", 32, "must be one of: 'pull_up' or 'pull_down'"),
        ("{driver: stop_pin, pin: 17}", "{driver: stop_pin}", 32, "driver 'stop_pin' needs 'pin:' beside it"),
        ("light: 3", "lamp: 3", 33, "unknown key"),
    ],
)
def test_each_mistake_is_told_at_its_line(tmp_path, change, to, line, said):
    assert ROBOT.count(change) == 1, change
    with pytest.raises(FileProblems) as caught:
        read(tmp_path, ROBOT.replace(change, to))
    (problem,) = caught.value.problems
    assert said in problem.why
    assert problem.line == line
