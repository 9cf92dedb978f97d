"""The rehearsals of ``config/hard-seeds.yaml``: what is said to hold of each holds, and what still fails still does."""

from pathlib import Path

import pytest

from rover.files.given import Given
from rover.files.hard_seeds import HardSeed
from rover.files.load import load
from rover.trials.trial import Trial, TrialRow, is_honest, run_trial

PATH = Path(__file__).parents[2] / "config/hard-seeds.yaml"
SEEDS: list[HardSeed] = load(PATH, "hard_seeds").model.seeds


def is_well(row: TrialRow, hard: HardSeed) -> bool:
    if hard.holds == "success":
        return row.is_success
    return row.truth is not None and is_honest(row.counted, row.truth) and row.truth.outside_s == 0.0


@pytest.mark.parametrize("hard", SEEDS, ids=lambda hard: f"{Path(hard.errand).stem}-{hard.seed}")
def test_what_is_said_of_a_hard_seed_holds(hard: HardSeed) -> None:
    given = Given(hard.given, tuple(hard.faults))
    row = run_trial(Trial(1, "", PATH.parent / hard.errand, hard.seed, given))
    if hard.fails:
        assert not is_well(row, hard), f"it holds now: take 'fails' out. {hard.taught}"
    else:
        assert is_well(row, hard), f"{row.why_not}. {hard.taught}"
