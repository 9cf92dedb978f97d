"""A run beside the positions that a person has measured: they stand in for the truth that a bench knows."""

from dataclasses import replace
from pathlib import Path

from rover.record.run import FinalObject, RecordedRun
from rover.record.surveyed import matched, read_measured
from rover.report.figures import kinds_known
from rover.report.floor import read_ground
from rover.report.view import ground_points

SURVEYED = "surveyed"
"""Entry of the header, in a run beside measured positions: the file's name, for the page."""


def with_measured(run: RecordedRun, path: Path) -> RecordedRun:
    """Return a run with true places as a file of measured positions has them.

    A find that is not in the file keeps what the record knows of it. What was measured and never found counts as
    standing on the floor.

    Raises:
        UserError: the file cannot be read.
        FileProblems: all that is wrong with it, or does not fit the run.
        RecordError: the record's field is not usable.
    """
    reach = [*ground_points(read_ground(run.header))]
    fits = matched(path, read_measured(path), run.finds, kinds=kinds_known(run), reach=reach)
    left = [FinalObject("", row.kind, row.x, row.y, "floor") for row in fits.others]
    return replace(
        run,
        header={**run.header, SURVEYED: path.name},
        true_finds={**run.true_finds, **fits.finds},
        final_objects=(*run.final_objects, *left),
    )
