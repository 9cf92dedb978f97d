"""The time-lapse: as long as it should be, the plan filling up, and the camera's frames beside it."""

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from rover.errors import UserError
from rover.events import TrackPoint
from rover.record.run import RecordedRun, TrackSample
from rover.report.video import LONGEST_S, RATE, SHORTEST_S, moments, write_video
from tests.report.test_report import SECOND, invented_run

cv2 = pytest.importorskip("cv2", reason="needs the extra 'vision': pip install -e '.[vision]'")


def on_the_way(lasts_s: int) -> RecordedRun:
    """Return a run that goes once across the field."""
    track = tuple(
        TrackSample(at * SECOND, TrackPoint(1.0 + 4.0 * at / lasts_s, 2.0, 0.0, 0.01, 0.01, 0.01, "seek"), (0, 0))
        for at in range(lasts_s + 1)
    )
    return replace(invented_run(()), track=track, ended_ns=lasts_s * SECOND)


def pictures_of(path: Path) -> list[Any]:
    video, pictures = cv2.VideoCapture(str(path)), []
    while (read := video.read())[0]:
        pictures.append(read[1])
    return pictures


def ink(picture: Any) -> int:
    """Return how many pixels are dark."""
    return int((picture.max(axis=2) < 160).sum())


def test_the_path_appears_with_time(tmp_path: Path) -> None:
    pictures = pictures_of(write_video(on_the_way(20), tmp_path / "none", tmp_path / "run.webm"))

    assert len(pictures) == RATE * (SHORTEST_S + 1)
    assert pictures[0].shape[1] == 1000
    assert ink(pictures[0]) < ink(pictures[30]) < ink(pictures[-1])


def test_a_long_run_is_quicker_and_not_longer() -> None:
    times = list(moments(replace(on_the_way(20), ended_ns=7200 * SECOND)))

    assert len(times) == RATE * (LONGEST_S + 1)
    assert (times[0], times[-1]) == (0, 7200 * SECOND)
    assert times == sorted(times)


def test_the_frame_that_was_taken_last_stands_beside_the_plan(tmp_path: Path) -> None:
    import numpy as np

    frames = tmp_path / "run.frames"
    frames.mkdir()
    for at, colour in ((0, (0, 0, 255)), (10 * SECOND, (0, 255, 0))):
        cv2.imwrite(str(frames / f"{at}.png"), np.full((30, 40, 3), colour, np.uint8))
    (frames / f"{15 * SECOND}.jpg").write_bytes(b"no picture")
    (frames / "notes.txt").touch()

    pictures = pictures_of(write_video(on_the_way(20), frames, tmp_path / "run.webm"))

    early, middle, late = (pictures[at][50, 1100].tolist() for at in (5, 40, 58))
    assert early[2] > 200 > early[1]
    assert middle[1] > 200 > middle[2]
    assert min(late) > 200  # the last one cannot be read: paper


def test_what_cannot_be_made_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UserError, match="no path of the robot"):
        write_video(replace(on_the_way(2), track=()), tmp_path, tmp_path / "run.webm")
    with pytest.raises(UserError, match=r"nowhere/run.webm: cannot be written as a video"):
        write_video(on_the_way(2), tmp_path, tmp_path / "nowhere" / "run.webm")
    monkeypatch.setitem(sys.modules, "cv2", None)
    with pytest.raises(UserError, match=r"no video; this brings what writes it: .* -m pip install 'opencv"):
        write_video(on_the_way(2), tmp_path, tmp_path / "run.webm")
