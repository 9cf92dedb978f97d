"""Frames are kept as JPEG at a set rate while there is room."""

from pathlib import Path

import cv2
import numpy
import pytest

from rover.devices.readings import Frame, Reading
from rover.files.robot import RecordKeys
from rover.record import frames
from rover.record.frames import FrameFolder, frames_of

GREY = Frame(numpy.full((24, 32, 3), 90, numpy.uint8), 32, 24)
KEYS = RecordKeys()


def shown(folder: FrameFolder, hz: float, seconds: float) -> None:
    for number in range(round(hz * seconds)):
        folder.keep(Reading(round(number * 1e9 / hz), number, GREY))


@pytest.mark.parametrize(("rate", "kept"), [(1.0, 5), (2.0, 10), (0.2, 1)])
def test_so_many_a_second_are_kept(tmp_path: Path, rate: float, kept: int) -> None:
    shown(FrameFolder(tmp_path / "run.sqlite", KEYS.model_copy(update={"frames": rate})), 10.0, 5.0)
    found = frames_of(tmp_path / "run.sqlite")
    assert len(found) == kept
    assert [int(path.stem) for path in found] == [round(number * 1e9 / rate) for number in range(kept)]


def test_they_are_pictures_of_what_was_seen(tmp_path: Path) -> None:
    shown(FrameFolder(tmp_path / "run.sqlite", KEYS), 1.0, 1.0)
    (path,) = frames_of(tmp_path / "run.sqlite")
    assert path.suffix == ".jpg"
    assert cv2.imread(str(path)).shape == (24, 32, 3)
    assert abs(int(cv2.imread(str(path))[12, 16, 0]) - 90) < 3


def test_frames_of_earlier_versions_are_found_in_the_order_of_time(tmp_path: Path) -> None:
    folder = tmp_path / "run.frames"
    folder.mkdir()
    for name in ("900.png", "1000.png", "notes.txt", "mine.jpg"):
        (folder / name).write_bytes(b"")
    assert [path.name for path in frames_of(tmp_path / "run.sqlite")] == ["900.png", "1000.png"]


def test_what_is_no_image_is_said_in_a_line(tmp_path: Path) -> None:
    folder = FrameFolder(tmp_path / "run.sqlite", KEYS)
    folder.keep(Reading(0, 0, Frame(numpy.zeros((0, 0, 3), numpy.uint8), 0, 0)))
    assert folder.trouble.startswith("no more frames are kept: ")
    assert "\n" not in folder.trouble


def test_without_room_none_are_kept_and_the_run_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(frames, "ROOM_FOR_MORE", 1 << 62)
    folder = FrameFolder(tmp_path / "run.sqlite", KEYS)
    shown(folder, 1.0, 2.0)
    assert folder.trouble == "no more frames are kept: little room is left on the disk"
