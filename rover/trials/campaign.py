"""A campaign of trials: what is varied, what is drawn, and which rehearsals that makes."""

import contextlib
import json
import shlex
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from rover.files.given import FAULT_OPTION, NOTHING, OPTION, Given
from rover.files.load import show
from rover.files.problems import FileProblems
from rover.files.ranges import RangesFile
from rover.files.yaml_source import read_text
from rover.session.assembly import Assembly, with_user_activities
from rover.session.program import digest, program_digest
from rover.trials.draws import Drawn, draws
from rover.trials.trial import Trial, TrialRow, run_trial


@dataclass(frozen=True)
class Variant:
    """One of several ways in which every seed is tried.

    Attributes:
        name: in words; '' where there is one only.
        errand: path of the errand file.
        values: given besides those that all variants have.
        without: the safeguard that is left out, '' for none.
    """

    name: str
    errand: Path
    values: Mapping[str, Any] = field(default_factory=dict)
    without: str = ""


@dataclass(frozen=True)
class Campaign:
    """What is to be tried.

    Attributes:
        variants: the first is what the others are held against.
        count: trials of each variant.
        first_seed: those after it follow.
        given: in every trial.
        ranges: what is drawn for each seed, alike for all variants.
        folders: from which drivers and activities are imported.
    """

    variants: tuple[Variant, ...]
    count: int
    first_seed: int = 1
    given: Given = NOTHING
    ranges: RangesFile | None = None
    folders: tuple[Path, ...] = ()

    @property
    def size(self) -> int:
        """How many trials there are."""
        return self.count * len(self.variants)

    def trials(self) -> Iterator[Trial]:
        """Yield every trial, a seed's variants one after the other.

        Raises:
            UserError: the sampling needs a package that is not installed.
        """
        for number, drawn in enumerate(draws(self.ranges, self.count, self.first_seed), 1):
            for variant in self.variants:
                yield self._trial(number, variant, drawn)

    def _trial(self, number: int, variant: Variant, drawn: Drawn) -> Trial:
        given = replace(
            self.given,
            values={**self.given.values, **drawn.values, **variant.values},
            options={**dict.fromkeys(drawn.values, "--ranges"), **dict.fromkeys(variant.values, "--vary")},
        )
        seed = self.first_seed + number - 1
        numbers = {key: value for key, value in drawn.numbers.items() if not _is_given(key, variant.values)}
        return Trial(number, variant.name, variant.errand.resolve(), seed, given, numbers, variant.without)

    def check(self) -> list[Assembly]:
        """Return each variant's files, as the first trial has them and with the extremes of all that is drawn.

        Raises:
            UserError: there are mistakes in the files, or in what is given or drawn.
        """
        spreads = self.ranges.draw if self.ranges is not None else {}
        ends = [Drawn({key: value}, {}) for key, spread in spreads.items() for value in spread.extremes]
        first = next(draws(self.ranges, self.count, self.first_seed))
        trials = (self._trial(1, variant, drawn) for variant in self.variants for drawn in (first, *ends))
        return [with_user_activities(trial.errand, {}, trial.given)[0] for trial in trials]

    def plan(self, assemblies: Iterable[Assembly]) -> dict[str, str]:
        """Return what makes two campaigns the same: what is tried, by which files and which program."""
        texts = {name: text for assembly in assemblies for name, text in assembly.texts.items()}
        return {
            "count": str(self.count),
            "variants": json.dumps(
                [[one.name, str(one.errand), one.values, one.without] for one in self.variants], default=str
            ),
            "first seed": str(self.first_seed),
            "given": json.dumps([self.given.values, self.given.faults], default=str),
            "ranges": "" if self.ranges is None else self.ranges.model_dump_json(),
            "files": _texts_digest(texts),
            "program": program_digest(self.folders),
        }


def _is_given(key: str, values: Mapping[str, Any]) -> bool:
    """Whether a key, or a block round it, is among those given."""
    return any(f"{key}.".startswith(f"{other}.") for other in values)


def changed_since(plan: Mapping[str, str], assemblies: Iterable[Assembly], folders: Sequence[Path]) -> bool:
    """Whether a file of the errand, or the program, is another one than when the plan was made."""
    names = {name for one in assemblies for name in one.texts}
    try:
        texts = {name: Path(name).read_text("utf-8-sig", "replace") for name in names}
    except OSError:
        return True
    return plan["files"] != _texts_digest(texts) or plan["program"] != program_digest(folders)


def _texts_digest(texts: Mapping[str, str]) -> str:
    return digest(f"{name}\n{text}" for name, text in sorted(texts.items()))


def name_of(plan: Mapping[str, str]) -> str:
    """Return a short name for a plan; another plan has another one."""
    return digest(f"{key}\n{value}" for key, value in plan.items())[:8]


def command_of(trial: Trial, folders: Sequence[Path] = ()) -> str:
    """Return the command that shows a trial."""
    words = ["rover", "rehearse", show(trial.errand), "--seed", str(trial.seed)]
    for key, value in trial.given.values.items():
        words += [OPTION, f"{key}={_as_given(value)}"]
    for line in trial.given.faults:
        words += [FAULT_OPTION, line]
    if trial.without:
        words += ["--without", trial.without]
    for folder in folders:
        words += ["--drivers", str(folder)]
    return shlex.join(words)


def _as_given(value: Any) -> str:
    """Return a text that is read as this value."""
    if isinstance(value, str) and value.strip() and "\n" not in value:
        with contextlib.suppress(FileProblems):
            if read_text(value, Path(), "").values == value:
                return value
    return json.dumps(value, default=str)


def run_trial_twice(trial: Trial) -> TrialRow:
    """Rehearse two times, and return the row; where the two differ it is that of an error.

    Tracebacks are left out: they may tell where in memory something was.
    """
    first, second = run_trial(trial), run_trial(trial)
    one, other = asdict(replace(first, error="")), asdict(replace(second, error=""))
    differing = [key for key in one if one[key] != other[key]]
    if not differing:
        return first
    reason = f"not the same twice: other {', '.join(differing)}"
    return replace(first, is_success=False, result="error", reason=reason)
