"""A run record that cannot be written any more: the run goes on, and the default behaviour goes home."""

import time
from pathlib import Path

from rover.activities.registry import ACTIVITIES
from rover.session.assembly import assemble
from rover.session.on_bench import Rehearsal

ROOT = Path(__file__).parents[2]


def test_the_greenhouse_errand_goes_home_when_its_record_is_deleted(tmp_path):
    record = tmp_path / "run.sqlite"
    rehearsal = Rehearsal(assemble(ROOT / "config/greenhouse.yaml", {}), ACTIVITIES, 1, record)
    states = []

    def progress(seconds, state, delivered):
        states.append(state)
        if record.exists() and seconds > 20.0:
            record.unlink()
            rehearsal._recorder.note("test", "one commit more")
            end_s = time.monotonic() + 30.0
            while not rehearsal._recorder._record.failing:
                assert time.monotonic() < end_s
                time.sleep(0.001)

    result = rehearsal.run(progress)
    assert (result.result, result.reason) == ("failed", "some_left")
    assert states[-1] == "head_home"
    assert result.robot_time_s < 120.0
    assert any("was deleted or moved under the run" in remark for remark in rehearsal.remarks)


def test_one_that_is_kept_is_not_gone_home_for(tmp_path):
    rehearsal = Rehearsal(assemble(ROOT / "config/greenhouse.yaml", {}), ACTIVITIES, 1, tmp_path / "run.sqlite")
    assert rehearsal.run(lambda *_: None).result == "done"
