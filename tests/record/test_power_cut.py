"""When the power goes, each record opens, what was committed is there, and half a second at most is missing."""

import os
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from random import Random

import pytest

from rover.events import Note
from rover.record import writer
from rover.record.folder import finish
from rover.record.reader import read
from rover.record.run import RecordError
from tests.record import power

pytestmark = pytest.mark.skipif(shutil.which("cc") is None, reason="needs a C compiler: apt install gcc libc6-dev")

CUTS, AT_THE_END = 200, 40
NOTES = 150
LOAD = """
import os, sys, time
from pathlib import Path
from rover.devices.readings import Reading, WheelCounts
from rover.events import Note, TrackPoint
from rover.record import writer

folder, writer.SYNCHRONOUS, notes = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
marks = os.open(str(folder / "marks"), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
writer.COMMIT_EVERY_S = 0.01

class Marked(writer.RunRecord):
    samples = 0
    def _insert_kept(self):
        super()._insert_kept()
        (self.samples,) = self._connection.execute("SELECT count(*) FROM track").fetchone()
    def _commit(self):
        super()._commit()
        assert not self.trouble, self.trouble
        os.write(marks, f"committed {self._written} {self.samples}".encode())

connection = writer._new_file(folder / "run.sqlite", {"host": "robot"})
connection.execute("PRAGMA wal_autocheckpoint=60")
record = Marked(connection, folder / "run.sqlite")
point = TrackPoint(0.1, 0.2, 0.3, 0.01, 0.02, 0.03, "seek/look")
for note in range(notes):
    for number in range(10 * note, 10 * note + 10):
        record.step(number, point, (0.1, 0.2))
        record.readings(number, [("counts", Reading(number, number, WheelCounts(number, "x" * 50)))])
    record.entry(number, Note("activity", str(note)))
    time.sleep(0.005)
record.finish("done", "all_in", {})
"""


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return power.build(tmp_path_factory.mktemp("shim"))


def under_load(library: Path, folder: Path, synchronous: str) -> list[power.Operation]:
    """Return what a writer under load did to its files."""
    written = folder / "written"
    written.mkdir()
    watched = {"LD_PRELOAD": str(library), "FOLDER": str(written), "LOG": str(folder / "log")}
    command = [sys.executable, "-c", LOAD, str(written), synchronous, str(NOTES)]
    subprocess.run(command, env={**os.environ, **watched}, check=True, timeout=120)
    return power.operations(folder / "log")


def cuts(done: Sequence[power.Operation], draw: Random) -> Iterator[power.Disk]:
    """Yield the disk at moments all through the run, the first commit being over, and at each while it is finished."""
    first = next(at for at, one in enumerate(done) if one.name == power.MARKS and one.data.startswith(b"committed"))
    moments = Counter(draw.randrange(first, len(done)) for _ in range(CUTS))
    moments.update(range(len(done) - AT_THE_END, len(done)))
    disk = power.Disk()
    for at, one in enumerate(done):
        disk.do(one)
        for _ in range(moments[at]):
            yield disk


def what_is_wrong(disk: power.Disk, folder: Path, draw: Random) -> str:
    """Return what is wrong with what a power cut leaves, '' for nothing."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, content in disk.left(draw).items():
        (folder / name).write_bytes(content)
    known = [text.split() for text in disk.known]
    entries, samples = next((int(words[1]), int(words[2])) for words in reversed(known) if words[0] == "committed")
    path = folder / "run.sqlite"
    try:
        found, said, run = read(path), finish(path), read(path)
    except RecordError as error:
        return str(error)
    if run.outcome is None:
        return f"it is not finished: {said}"
    notes = [int(note.text) for note in run.events_of(Note)]
    if notes != list(range(len(notes))) or found.events_of(Note) != run.events_of(Note):
        return f"notes are missing in between: {notes}"
    if len(notes) < min(entries, NOTES):
        return f"{entries} notes were committed, and {len(notes)} are there"
    if [sample.at_ns for sample in run.track] != list(range(len(run.track))):
        return "samples are missing in between"
    return f"{samples} samples were committed, and {len(run.track)} are there" if len(run.track) < samples else ""


def test_nothing_committed_is_lost_wherever_the_power_goes(library: Path, tmp_path: Path) -> None:
    done, draw = under_load(library, tmp_path, "FULL"), Random(1)
    assert sum(one.kind == "S" for one in done) >= 50
    assert [wrong for disk in cuts(done, draw) if (wrong := what_is_wrong(disk, tmp_path / "cut", draw))] == []


def test_without_syncing_something_is(library: Path, tmp_path: Path) -> None:
    done, draw = under_load(library, tmp_path, "OFF"), Random(1)
    assert any(what_is_wrong(disk, tmp_path / "cut", draw) for disk in cuts(done, draw))


def test_what_is_not_committed_is_no_more_than_half_a_second() -> None:
    """A round begins so long after the last; all that waits then is in it."""
    assert writer.COMMIT_EVERY_S <= 0.5
