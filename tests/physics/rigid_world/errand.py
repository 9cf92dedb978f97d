"""The demo's errand on this physics: its files, written into a folder of the project's form."""

import shutil
import sys
from pathlib import Path

import yaml

from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal

HERE = Path(__file__).parents[1]
ROOT = HERE.parents[1]
DRAWN = {"driver": "rigid_world.pictures:PictureCamera", "frame_width": 320, "frame_height": 240}


def write_errand(folder, camera=None, expect=None, **bench):
    """Write errand, robot, bench and behaviour files, and return the errand's path.

    Args:
        folder: new or empty.
        camera: other keys for the camera, such as `DRAWN`.
        expect: how many jars the robot is told of; with None it searches until nothing is left.
        bench: other keys for the bench file.
    """
    if str(HERE) not in sys.path:
        sys.path.insert(0, str(HERE))  # as --drivers does
    shutil.copytree(ROOT / "behaviours", folder / "behaviours")
    errand = _read(ROOT / "config/greenhouse.yaml")
    errand["files"]["robot"] = "four_wheels.yaml"
    if expect is not None:
        errand["expect"] = expect
    robot = _read(HERE / "four_wheels.yaml")
    robot["devices"]["camera"] |= camera or {}
    (folder / "config").mkdir()
    _write(folder / "config/four_wheels.yaml", robot)
    _write(folder / "config/bay.yaml", _read(HERE / "bay.yaml") | bench)
    _write(folder / "config/greenhouse.yaml", errand)
    return folder / "config/greenhouse.yaml"


def rehearse(errand, seed, settings=None):
    """Rehearse an errand written so; return the rehearsal, its result, and the record's path."""
    assembly, activities = with_user_activities(errand, settings or {})
    record = errand.parent / f"seed{seed}.sqlite"
    rehearsal = Rehearsal(assembly, activities, seed, record)
    return rehearsal, rehearsal.run(lambda *_: None), record


def _read(path):
    return yaml.safe_load(path.read_text("utf-8"))


def _write(path, values):
    path.write_text(yaml.safe_dump(values, sort_keys=False), encoding="utf-8")
