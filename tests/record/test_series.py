"""What devices reported over a run: numbers by name, ages, and what did not arrive."""

from pathlib import Path

import pytest

from rover.devices.battery.values import BatteryValue
from rover.devices.camera.values import Detection, Detections
from rover.devices.range.values import RangeValue
from rover.devices.readings import Fault, Reading
from rover.record.run import RecordError
from rover.record.series import FRAMES, read_series
from rover.record.writer import RunRecord

MS = 1_000_000


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "run.sqlite"
    writer = RunRecord.create(path, {})
    writer.readings(20 * MS, [("battery", Reading(15 * MS, 1, BatteryValue(12.1, 0.4))), ("loop", Reading(0, 1, None))])
    writer.readings(40 * MS, [("range", Reading(30 * MS, 7, RangeValue(None)))])
    jar = Detection("amber", 0.1, 1.0, 0.01, 0.05, 0.1)
    writer.readings(
        60 * MS, [("range", Reading(50 * MS, 10, RangeValue(1.5))), ("camera", Reading(1, 1, Detections((jar, jar))))]
    )
    writer.readings(80 * MS, [("hygrometer", Reading(79 * MS, 1, {"humidity": 0.4, "wet": True, "word": "dry"}))])
    writer.readings(100 * MS, [("hygrometer", Reading(99 * MS, 2, Fault("broken")))])
    writer.finish("done", "over", {})
    return path


def test_the_numbers_of_each_device_by_name(record: Path) -> None:
    devices = read_series(record).devices

    assert {name: values[1].tolist() for name, values in devices["battery"].numbers.items()} == {
        "volts": [12.1],
        "amps": [0.4],
    }
    assert devices["range"].numbers["distance"][0].tolist() == [50 * MS]  # no echo is no number
    assert devices["camera"].numbers[FRAMES][1].tolist() == [2.0]
    assert {name: values[1].tolist() for name, values in devices["hygrometer"].numbers.items()} == {
        "humidity": [0.4],
        "wet": [1.0],
    }


def test_what_did_not_arrive_and_how_old_the_rest_was(record: Path) -> None:
    series = read_series(record)

    assert series.devices["range"].missed == 2
    assert series.devices["range"].ages_ns.tolist() == [10 * MS, 10 * MS]
    assert series.steps_ns.tolist() == [20 * MS, 40 * MS, 60 * MS, 80 * MS, 100 * MS]
    assert "loop" not in series.devices


def test_a_record_without_readings_has_none(tmp_path: Path) -> None:
    RunRecord.create(tmp_path / "run.sqlite", {}).finish("done", "over", {})

    assert read_series(tmp_path / "run.sqlite").devices == {}


def test_what_cannot_be_read_on_is_named(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    path.write_bytes(b"not a database, but long enough" * 9)

    with pytest.raises(RecordError, match="its readings cannot be read on"):
        read_series(path)
