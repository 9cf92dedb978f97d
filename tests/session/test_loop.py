"""The loop with next to no host: what a step is given comes from a list, as in a replay it comes from a record."""

from pathlib import Path

import pytest

from rover.activities.registry import ACTIVITIES
from rover.core import Core
from rover.record.reader import read
from rover.session import loop
from rover.session.assembly import assemble
from rover.session.on_bench import Rehearsal
from rover.session.recorder import RunRecorder

ERRAND = Path(__file__).parents[2] / "config/greenhouse.yaml"
STEPS = 1000


class Listed(loop.Host):
    """Hosts the core with a list of what its steps are given: all that a further host has to be."""

    why_ended = "the list is at its end"

    def __init__(self, steps):
        self._left = iter(steps)

    def next_step(self):
        return next(self._left, None)


class FirstSteps(Rehearsal):
    """The first seconds of a rehearsal, kept."""

    def next_step(self):
        return super().next_step() if len(self.steps) < STEPS else None

    def after_step(self, given, decided):
        super().after_step(given, decided)
        self.steps.append((given, decided))


@pytest.fixture
def rehearsal(tmp_path):
    made = FirstSteps(assemble(ERRAND, {}), ACTIVITIES, 1, tmp_path / "bench.sqlite")
    made.steps = []
    made.result = made.run(lambda *_: None)
    return made


@pytest.fixture
def hosted(tmp_path):
    """Run a core of its own with a host; gives what it decided, the result, and the record."""

    def run(host, progress=lambda *_: None):
        made, path, decided = assemble(ERRAND, {}), tmp_path / "listed.sqlite", []
        core = Core(made.robot, made.errand, made.graph, ACTIVITIES, 1)
        host.apply = decided.append
        try:
            result = loop.run(core, host, RunRecorder(core, path, {}), progress)
        except KeyError:
            result = None
        return decided, result, read(path)

    return run


def test_the_same_readings_from_a_list_give_the_same_run(rehearsal, hosted):
    decided, result, record = hosted(Listed(given for given, _ in rehearsal.steps))
    assert decided == [one for _, one in rehearsal.steps]
    assert (result.result, result.reason, result.steps) == ("stopped", "the list is at its end", STEPS)
    assert record.happenings == read(Path(rehearsal.result.record)).happenings
    assert record.track == read(Path(rehearsal.result.record)).track
    assert not record.true_track


def test_progress_is_shown_every_two_seconds(rehearsal, hosted):
    shown = []
    hosted(Listed(given for given, _ in rehearsal.steps), lambda seconds, *_: shown.append(seconds))
    assert shown == pytest.approx([0.02 + 2.0 * number for number in range(len(shown))])
    assert len(shown) == STEPS * 0.02 / 2.0


def test_whatever_a_host_raises_the_devices_are_closed_before_the_record_says_why(rehearsal, hosted):
    def broken():
        yield rehearsal.steps[0][0]
        raise KeyError("nobody foresaw this")

    host = Listed(broken())
    host.close = lambda: closed.append(next(Path(rehearsal.result.record).parent.glob("listed.sqlite-wal")))
    closed = []
    _, _, record = hosted(host)
    assert closed, "the record was still open"
    assert (record.outcome.result, record.outcome.reason) == ("stopped", "KeyError")
    assert "nobody foresaw this" in record.happenings[-1].event.text


def test_every_event_is_told_with_how_things_stand(rehearsal, tmp_path):
    made, told = assemble(ERRAND, {}), []
    core = Core(made.robot, made.errand, made.graph, ACTIVITIES, 1)
    recorder = RunRecorder(core, tmp_path / "told.sqlite", {})
    steps = [given for given, _ in rehearsal.steps]
    loop.run(core, Listed(steps), recorder, lambda *_: None, lambda *what: told.append(what))
    decided = [(event, given.now_ns * 1e-9) for given, one in rehearsal.steps for event in one.events]
    assert [(event, seconds) for event, seconds, _, _ in told] == decided
