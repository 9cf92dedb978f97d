"""A rehearsal as a function, for a person's own tests."""

import sys
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from rover.devices.registry import allow_folders
from rover.files.given import Given
from rover.session.assembly import with_user_activities
from rover.session.on_bench import Rehearsal
from rover.session.result import Result


def rehearse(
    errand: str | Path,
    *,
    seed: int = 1,
    settings: Mapping[str, Any] | None = None,
    given: Mapping[str, Any] | None = None,
    drivers: Iterable[str | Path] = (),
    record: str | Path | None = None,
) -> Result:
    """Rehearse an errand on the bench, as ``rover rehearse`` does; one seed gives one run.

    Args:
        errand: path of the errand file.
        seed: of bench, behaviour and drivers.
        settings: values for the behaviour's settings, as they are written in a file: ``{"near": "20 cm"}``.
        given: what stands in place of what the files say, by key: ``{"bench.floor.slip": "3 %"}``.
        drivers: folders from which drivers and activities named in the files may be imported.
        record: file to write the run record to; None: there is none afterwards, and the result names none.

    Raises:
        UserError: the files have mistakes, or something they name cannot be had; the message says what and where.
    """
    before = list(sys.path)
    allow_folders([Path(folder) for folder in drivers])
    try:
        assembly, activities = with_user_activities(Path(errand), settings or {}, Given(given or {}))
        with TemporaryDirectory(prefix="rover-") as folder:
            kept = Path(folder) / "run.sqlite" if record is None else Path(record)
            result = Rehearsal(assembly, activities, seed, kept).run(lambda *_: None)
    finally:
        sys.path[:] = before
    return replace(result, record="") if record is None else result
