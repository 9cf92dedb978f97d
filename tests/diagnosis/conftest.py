"""Runs made of a few events, a second apart."""

from collections.abc import Callable, Mapping, Sequence

import pytest

from rover.events import Event
from rover.record.run import Happening, RecordedRun, RunEnd

SECOND = 1_000_000_000
ROBOT = """
robot: Cart
body: {wheel_diameter: 72 mm, track: 240 mm, track_factor: 1.5, counts_per_rev: 1320}
devices:
  counts: {driver: co_processor, link: main, overdue_after: 200 ms}
  heading: {driver: co_processor, link: main, overdue_after: 300 ms}
  camera: {driver: video, overdue_after: 500 ms}
  battery: {driver: co_processor, link: main, full: 12.6 V}
"""
ERRAND = """
errand: Bring the jars in
kinds: {amber: {lid: amber}, teal: {lid: teal}}
"""
MakeRun = Callable[..., RecordedRun]


def made(
    events: Sequence[Event],
    figures: Mapping[str, float] | None = None,
    *,
    result: str = "failed",
    reason: str = "some_left",
    lasts_s: int = 600,
    **summary: object,
) -> RecordedRun:
    """Return a run with one event each second, its figures and its end."""
    return RecordedRun(
        header={"title": "Bring the jars in", "file:cart.yaml": ROBOT, "file:errand.yaml": ERRAND},
        track=(),
        true_track=(),
        happenings=tuple(Happening(number * SECOND, event) for number, event in enumerate(events)),
        true_finds={},
        final_objects=(),
        gaps=(),
        outcome=RunEnd(result, reason, {"figures": dict(figures or {}), **summary}),
        started_ns=0,
        ended_ns=lasts_s * SECOND,
    )


@pytest.fixture
def run_of() -> MakeRun:
    """Return what makes a run of events and figures."""
    return made
