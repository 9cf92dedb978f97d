"""A calibration from begin to end: measured on the bench or on the robot, recorded, drawn, put into the file."""

import json
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple

from rover.calibrate import camera_latency, drive, gripper, heading, plots, range
from rover.calibrate.apparatus import Assistant, Drivetrain
from rover.calibrate.findings import CalibrationError, Findings, ValueChange
from rover.calibrate.practice import BenchAssistant, BenchDrivetrain, practice_bench, true_geometry
from rover.files.bench import BenchFile
from rover.files.robot import Robot

SIDES = (0.3, 6.0)
"""Shortest and longest side (m) of a square."""


class Order(NamedTuple):
    """What to calibrate (``drive``, ``heading``, ``range``, ``gripper``, ``latency``), and the squares' side (m)."""

    what: str
    side: float = drive.SIDE


class CalibrationOutcome(NamedTuple):
    """What was found, where (``bench, seed 3``), and on the bench how it compares with the truth."""

    found: Findings
    where: str
    truth: tuple[str, ...] = ()


def calibrate(order: Order, drivetrain: Drivetrain, assistant: Assistant, robot: Robot) -> Findings:
    """Measure, and return what was found.

    Raises:
        CalibrationError: what was measured cannot be used.
    """
    if not SIDES[0] <= order.side <= SIDES[1]:
        raise CalibrationError(f"a square of {order.side:g} m: its side lies between {SIDES[0]:g} m and {SIDES[1]:g} m")
    if order.what == "drive":
        return drive.findings(drive.measure(drivetrain, assistant, robot, order.side), robot)
    part: Any = {"heading": heading, "range": range, "gripper": gripper, "latency": camera_latency}[order.what]
    findings: Findings = part.findings(part.measure(drivetrain, assistant, robot), robot)
    return findings


def practise(order: Order, robot: Robot, bench: BenchFile, seed: int) -> CalibrationOutcome:
    """Calibrate on the bench.

    Raises:
        CalibrationError: what was measured cannot be used.
        LoadError: a user's own driver cannot be had.
    """
    stage = practice_bench(bench, robot, seed)
    with closing(BenchDrivetrain(stage)) as drivetrain:
        found = calibrate(order, drivetrain, BenchAssistant(stage), robot)
    where = f"{bench.bench}, seed {seed}"
    if order.what != "drive":
        return CalibrationOutcome(found, where)
    truth = true_geometry(stage)
    left, right, track = found.data["metres_per_count_left_right_and_track_m"]["after"]
    line = (
        f"the bench's truth: effective track {truth.track * 1e3:.1f} mm (found {_percent(track / truth.track)} of it), "
        f"wheels {truth.right / truth.left:.5f} (found {_percent(right / left * truth.left / truth.right)}), "
        f"travel for one count (found {_percent((left + right) / (truth.left + truth.right))})"
    )
    return CalibrationOutcome(found, where, (line,))


def _percent(factor: float) -> str:
    return f"{factor - 1.0:+.2%}"


def table(changes: Sequence[ValueChange]) -> list[str]:
    """Return the lines that show values before and after."""
    if not changes:
        return ["the robot file is right as it is"]
    names = [".".join(change.key) for change in changes]
    name, before = max(map(len, names)), max(len("before"), *(len(change.before) for change in changes))
    return [
        f"{'':<{name}}  {'before':>{before}}  after",
        *(f"{key:<{name}}  {one.before:>{before}}  {one.after}" for key, one in zip(names, changes, strict=True)),
    ]


def keep(outcome: CalibrationOutcome, order: Order, path: Path) -> list[Path]:
    """Write the record (JSON) and, where it can be drawn, the picture beside it; return their paths.

    Raises:
        OSError: they cannot be written.
    """
    found = outcome.found
    record = {
        "calibration": order.what,
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "host": outcome.where,
        "changes": [change._asdict() for change in found.changes],
        "told": (*found.lines, *outcome.truth),
        "measured": found.data,
    }
    path.write_text(json.dumps(record, indent=1, default=float) + "\n", "utf-8")
    title = f"{order.what}: {outcome.where}"
    picture = plots.draw(found.plots, title, path.with_suffix(".png")) if found.plots else None
    return [path] if picture is None else [path, picture]
