"""The file of a campaign."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.errors import UserError
from rover.record.run import TrueFigures
from rover.trials.store import CampaignFile, as_text, from_text
from rover.trials.trial import Ended, TrialRow

PLAN = {"count": "3", "files": "abc"}
ROW = TrialRow(
    *(1, "as it is", 7, {"bench.floor.slip": 2.5, "errand.files.bench": "mild.yaml"}, False, "failed", "some_left"),
    ended=Ended("head_home", "when done", "camera"),
    counted=8,
    truth=TrueFigures(9, 8, 0, 0, 0, 0, 1, 0.1, 2, 0, 0.0, 0.0, 70.0),
    axis_errors_m=(0.01, 0.02),
    robot_time_s=512.5,
    digest="00ff",
)
texts = st.text(max_size=20)


def test_rows_come_back_as_they_were(tmp_path: Path) -> None:
    with CampaignFile(tmp_path / "c.sqlite", PLAN) as file:
        file.add(replace(ROW, number=2), "rover rehearse b")
        file.add(ROW, "rover rehearse a")
    with CampaignFile(tmp_path / "c.sqlite", PLAN) as file:
        assert list(file.rows()) == [ROW, replace(ROW, number=2)]
        assert file.done() == {(1, "as it is"), (2, "as it is")}
        assert file.successes() == 0


@given(
    st.builds(
        TrialRow,
        *(st.integers(), texts, st.integers(), st.dictionaries(texts, st.floats(allow_nan=False) | texts)),
        *(st.booleans(), texts, texts, st.builds(Ended, texts, texts, texts)),
        axis_errors_m=st.lists(st.floats(allow_nan=False)).map(tuple),
        error=texts,
    )
)
def test_any_row_comes_back_as_it_was(row: TrialRow) -> None:
    assert from_text(as_text(row)) == row


def test_a_person_with_a_sqlite_shell_reads_it(tmp_path: Path) -> None:
    with CampaignFile(tmp_path / "c.sqlite", PLAN) as file:
        file.add(ROW, "rover rehearse a")
    columns = "seed, why_not, state, device, counted, delivered, command"
    found = sqlite3.connect(tmp_path / "c.sqlite").execute(f"SELECT {columns} FROM trials").fetchall()
    assert found == [(7, "failed (some_left)", "head_home", "camera", 8, 8, "rover rehearse a")]


def test_another_campaigns_file_is_not_written_to(tmp_path: Path) -> None:
    with CampaignFile(tmp_path / "c.sqlite", PLAN):
        pass
    with pytest.raises(UserError, match=r"another campaign \(other files\); name another file with --into"):
        CampaignFile(tmp_path / "c.sqlite", PLAN | {"files": "abd"})


def test_two_commands_do_not_write_into_one_file(tmp_path: Path) -> None:
    with (
        CampaignFile(tmp_path / "c.sqlite", PLAN),
        pytest.raises(UserError, match="another command is writing trials into this file"),
    ):
        CampaignFile(tmp_path / "c.sqlite", PLAN)


def test_a_file_of_another_kind_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other"
    path.write_text("not a database at all, and long enough to be looked at as one " * 10)
    with pytest.raises(UserError, match="cannot keep trials here"):
        CampaignFile(path, PLAN)
    other = sqlite3.connect(tmp_path / "o.sqlite")
    other.execute("CREATE TABLE mine (a)")
    other.commit()
    with pytest.raises(UserError, match="no file of trials"):
        CampaignFile(tmp_path / "o.sqlite", PLAN)
    assert [name for (name,) in other.execute("SELECT name FROM sqlite_master")] == ["mine"]


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(UserError, match="cannot keep trials here"):
        CampaignFile(tmp_path / "file" / "c.sqlite", PLAN)
