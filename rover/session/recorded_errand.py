"""The errand of a record, put together again from its header: nothing else is needed but a person's own activities."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

from rover.activities.activity import Activity
from rover.core import Core
from rover.core.parts import Parts
from rover.errand.saving import StateMismatchError
from rover.errors import in_words
from rover.files.given import NOTHING, Given
from rover.files.load import kind_of, show
from rover.files.problems import FileProblems
from rover.files.robot import Robot
from rover.files.yaml_source import KeptFiles, read
from rover.record.run import RecordedRun, RecordError
from rover.session.assembly import Assembly, KeptErrand, with_user_activities
from rover.session.without import SAFEGUARDS, left_out

FILE = "file:"
"""Before the name of each file among the keys of a header."""
NEEDED = ("settings", "without", "drivers", "code", "host", "version", "program", "computer")
"""What a header has of every run besides its files and its seed."""
CHANGEABLE = ("errand", "robot", "behaviour")
"""Kinds of file that the core decides by."""


@dataclass(frozen=True)
class Changes:
    """What a replay has otherwise than the record.

    Attributes:
        file: an errand file in the place of the recorded errand with all its files, or a robot or behaviour file in the
            place of that one alone.
        settings: of the behaviour, by name, besides those of the record.
    """

    file: Path | None = None
    settings: Mapping[str, Any] | None = None


UNCHANGED = Changes()


@dataclass(frozen=True)
class RecordedErrand:
    """An errand as it was run, or as it would be with changes.

    Attributes:
        robot: as it was at work: what stood in for a driver on the bench is named in its place.
        seed: of the run.
        saved: the state that it was taken up from, None for a fresh start.
        code: hashes of the files of activities of the person's own, as they were then.
    """

    assembly: Assembly
    activities: Mapping[str, type[Activity]]
    parts: Parts
    robot: Robot
    seed: int
    saved: Mapping[str, Any] | None
    code: Mapping[str, str]

    def core(self) -> Core:
        """Return a new core to carry it out.

        Raises:
            RecordError: the state that the run was taken up from does not go with this errand.
        """
        made, errand = self.assembly, self.assembly.errand
        try:
            return Core(self.robot, errand, made.graph, self.activities, self.seed, self.saved, self.parts)
        except (StateMismatchError, KeyError, TypeError, ValueError) as error:
            if self.saved is None:
                raise
            raise RecordError(f"the state that the run was taken up from cannot be used: {in_words(error)}") from error


def recorded_errand(
    path: Path, run: RecordedRun, changes: Changes = UNCHANGED, loading: Callable[[str], None] = lambda name: None
) -> RecordedErrand:
    """Return the errand of a record.

    Args:
        path: of the record, for messages.
        run: the record.
        changes: what is to be otherwise.
        loading: is told of each activity of the person's own before it is imported.

    Raises:
        RecordError: there is no errand in it, or it was written before records kept all that a replay needs.
        FileProblems: the files are not what this version of the program takes, or the changes have mistakes.
        LoadError: an activity of the person's own cannot be imported.
        UserError: the file of the changes is of a kind by which nothing is decided.
    """
    header = _header(path, run.header)
    of: Path | KeptErrand = header.errand
    given = header.given
    if changes.file is not None:
        kind = _kind_of(changes.file)
        of = changes.file if kind == "errand" else replace(header.errand, instead={kind: changes.file})
        given = NOTHING if kind == "errand" else given
    settings = {**header.settings, **(changes.settings or {})}
    try:
        assembly, activities = with_user_activities(of, settings, given, loading)
    except FileProblems as error:
        if changes == UNCHANGED:
            error.add_note(f"in {path}, as these files were then: it is damaged, or this version takes them no more")
        raise
    assembly, parts = left_out(header.without, assembly)
    robot = _as_at_work(assembly.robot, header.drivers)
    return RecordedErrand(assembly, activities, parts, robot, header.seed, header.saved, header.code)


class _Header(NamedTuple):
    errand: KeptErrand
    settings: Mapping[str, Any]
    given: Given
    without: str
    drivers: Mapping[str, str]
    seed: int
    saved: Mapping[str, Any] | None
    code: Mapping[str, str]


def _header(path: Path, header: Mapping[str, str]) -> _Header:
    if "seed" not in header:
        title = header.get("title", "")
        raise RecordError(f"{path}: '{title}' is no errand's record: no behaviour decided anything in it")
    if "files" not in header:
        raise RecordError(
            f"{path}: written by an earlier version, which did not keep all that a replay needs; it can be reported on"
        )
    texts = {key.removeprefix(FILE): text for key, text in header.items() if key.startswith(FILE)}
    try:
        files, given = json.loads(header["files"]), json.loads(header.get("given", "{}"))
        if missing := [key for key in NEEDED if key not in header]:
            raise ValueError(f"it lacks '{missing[0]}'")
        if files["errand"] not in texts:
            raise ValueError(f"it lacks the file '{files['errand']}'")
        if header["without"] not in SAFEGUARDS:
            raise ValueError(f"no safeguard is called '{header['without']}'")
        return _Header(
            KeptErrand(files["errand"], KeptFiles(texts, files["named"])),
            dict(json.loads(header["settings"])),
            Given(given.get("values", {}), tuple(given.get("faults", ()))),
            header["without"],
            dict(json.loads(header["drivers"])),
            int(header["seed"]),
            json.loads(header["resumed"]) if "resumed" in header else None,
            dict(json.loads(header["code"])),
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise RecordError(f"{path}: damaged: its header cannot be read: {error}") from None


def _kind_of(file: Path) -> str:
    kind = kind_of(read(file, show(file)))
    if kind not in CHANGEABLE:
        raise RecordError(f"{file}: a {kind} file decides nothing; name an errand, a behaviour or a robot file")
    return kind


def _as_at_work(robot: Robot, drivers: Mapping[str, str]) -> Robot:
    """Return the robot with the drivers that it had: whether one is a person's own is a matter for the jaws."""
    fitted = robot.devices.fitted()
    changed = {
        name: device.model_copy(update={"driver": drivers[name]})
        for name, device in fitted.items()
        if drivers.get(name, device.driver) != device.driver
    }
    return robot.model_copy(update={"devices": robot.devices.model_copy(update=changed)}) if changed else robot
