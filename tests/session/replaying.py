"""Rehearsing into a record, and replaying that."""

from pathlib import Path

from rover.files.given import Given
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.replay import replay
from rover.session.without import left_out

ROOT = Path(__file__).parents[2]
SHORT = {"long_side": "40 cm", "short_side": "30 cm"}


def rehearsed(path, errand=ROOT / "config/rectangle.yaml", *, settings=SHORT, without="", seed=1, given=None, **how):
    """Rehearse an errand into a record, and return its path."""
    assembly, activities = with_user_activities(errand, settings, given or Given())
    assembly, parts = left_out(without, assembly)
    Rehearsal(assembly, activities, seed, path, parts=parts, **how).run(lambda *_: None)
    return path


def replayed(path, from_s=0.0):
    return replay(path, from_s, lambda *_: None)
