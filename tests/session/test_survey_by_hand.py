"""`rover survey` on a pseudo-terminal, with an emulated co-processor."""

import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from .test_jog import Stand

pytestmark = pytest.mark.real_time


@pytest.fixture
def stand() -> Iterator[Stand]:
    with ExitStack() as closing:
        yield Stand(Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="j-"))), closing)


def test_a_survey_is_a_jog_with_marks(stand):
    """Capital letters mark and move nothing; what is marked is in the errand file."""
    terminal = stand.jog("survey", "cart.yaml", "--errand", "floor.yaml")
    terminal.shows("+0.0 deg")  # what marks a place needs the heading to be told
    terminal.type(b"C")
    terminal.shows("corner 1 marked; the robot's middle is at x 0.00 m, y 0.00 m")
    stand.get_going(terminal)
    for number, key in enumerate((b"w", b"a"), 2):
        for _ in range(12):
            stand.hold(terminal, key)
        stand.come_to_rest()
        terminal.type(b"C")
        terminal.shows(f"corner {number} marked")
    changes = len(stand.emulator.applied)
    terminal.type(b"BPU")
    terminal.shows("taken back: place")
    assert "no wall is marked: the range finder hears none" in terminal.screen
    assert len(stand.emulator.applied) == changes
    assert terminal.end() == 2, "on so little ground nothing can be done, and check says so"
    assert "floor.yaml is written; this is left to put right in it" in terminal.screen
    text = (stand.folder / "floor.yaml").read_text("utf-8")
    assert text.count("    - [") == 3
    assert "behaviour: roam" in text
