"""A moment of a run is what the record has of it, and more: the run is given again up to then."""

from pathlib import Path

import pytest

from rover.diagnosis.evidence import Evidence
from rover.diagnosis.of_moment import moment_in_words
from rover.record.reader import read
from rover.session.moment import HOLDS, NOT, TIMED, moment_at
from rover.session.rehearse import rehearse

CONFIG = Path(__file__).parents[2] / "config"


@pytest.fixture(scope="module")
def record(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("moment") / "run.sqlite"
    rehearse(CONFIG / "rectangle.yaml", record=path)
    return path


def at(path: Path, seconds: float):
    return moment_at(path, read(path), seconds, lambda *_: None)


def test_it_is_where_the_record_has_it(record):
    run = read(record)
    sample = next(one for one in run.track if (one.at_ns - run.started_ns) * 1e-9 >= 5.0)
    moment = at(record, (sample.at_ns - run.started_ns) * 1e-9)
    assert (moment.at_ns, moment.point) == (sample.at_ns, sample.point)
    assert moment.duties == pytest.approx(sample.duties)


def test_it_has_the_latest_report_of_each_device_and_all_signals(record):
    moment = at(record, 5.0)
    assert {"counts", "heading", "battery"} <= {device.name for device in moment.devices}
    assert all(device.is_ok and 0.0 <= device.age_s < 1.5 for device in moment.devices)
    assert moment.signals["counts.ok"] == "yes"
    assert moment.signals["run.time"].endswith(" s")


def test_it_tells_how_each_exit_stood_and_since_when(record):
    run, moment = read(record), at(record, 5.0)
    assert moment.state == next(one.point.state for one in reversed(run.track) if one.at_ns <= moment.at_ns)
    assert {one.stands for one in moment.conditions} <= {HOLDS, NOT, TIMED, "nearly", "not known"}
    entered_s = [one.since_s for one in moment.conditions if one.exit.scope == moment.state and one.stands == NOT]
    assert entered_s
    assert all(since is not None and since <= 5.0 for since in entered_s)
    text = "\n".join(moment_in_words(moment, Evidence(run)))
    assert f"in '{moment.state}', for" in text
    assert max(map(len, text.splitlines())) <= 80


def test_after_the_end_it_is_the_last_one(record):
    run = read(record)
    assert at(record, 1e4).at_ns == run.ended_ns
