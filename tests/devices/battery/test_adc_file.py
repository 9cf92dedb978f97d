"""The battery monitor on files laid out as the kernel documents them."""

import pytest

from rover.devices.battery.adc_file import SUPPLY_LOW, Battery
from rover.devices.battery.keys import AdcFileKeys
from rover.devices.kernel.files import DeviceError
from rover.devices.readings import Fault

SECOND = 1_000_000_000


@pytest.fixture
def options(tmp_path):
    (tmp_path / "in_voltage0_raw").write_text("3000\n")
    (tmp_path / "in_voltage_scale").write_text("0.805664062\n")
    (tmp_path / "in0_lcrit_alarm").write_text("0\n")
    return AdcFileKeys(file=str(tmp_path / "in_voltage0_raw"), divider=5.0).options


def volts(battery, now_ns=0):
    return battery.poll(now_ns)[0].value.volts


def test_a_raw_number_becomes_volts_at_the_battery(options):
    assert volts(Battery(options)) == pytest.approx(3000 * 0.805664062e-3 * 5.0)


def test_a_scale_of_its_own_goes_before_the_shared_one_and_an_offset_counts(options, tmp_path):
    (tmp_path / "in_voltage0_scale").write_text("2")
    (tmp_path / "in_voltage0_offset").write_text("-100")
    assert volts(Battery(options)) == pytest.approx(2900 * 2e-3 * 5.0)


def test_the_robot_file_may_state_the_scale(options):
    assert volts(Battery(options | {"scale": 0.001})) == pytest.approx(15.0)


def test_it_is_read_at_its_rate(options):
    battery = Battery(options)
    times = [now for now in range(0, 2 * SECOND, SECOND // 10) if battery.poll(now)]
    assert times == [0, SECOND // 2, SECOND, 3 * SECOND // 2]


def test_while_the_boards_supply_is_low_no_voltage_is_told(options, tmp_path):
    alarm = tmp_path / "in0_lcrit_alarm"
    battery = Battery(options | {"supply_alarm": str(alarm)})
    assert volts(battery) > 0
    alarm.write_text("1\n")
    (reading,) = battery.poll(SECOND)
    assert reading.value == Fault(SUPPLY_LOW)
    alarm.write_text("0\n")
    assert volts(battery, 2 * SECOND) > 0


def test_files_that_are_not_there_or_hold_no_number_are_told(options, tmp_path):
    with pytest.raises(DeviceError, match="in_voltage7_raw is not there"):
        Battery(options | {"file": str(tmp_path / "in_voltage7_raw")})
    (tmp_path / "in_voltage0_raw").write_text("nothing")
    with pytest.raises(DeviceError, match="holds no number"):
        Battery(options)
    (tmp_path / "in_voltage_scale").unlink()
    with pytest.raises(DeviceError, match="such as 'scale:"):
        Battery(options)


def test_an_input_that_vanishes_is_told(options, tmp_path):
    battery = Battery(options)
    (tmp_path / "in_voltage0_raw").unlink()
    with pytest.raises(DeviceError, match="is the device connected"):
        battery.poll(0)
