"""The diagnosis bench: its causes are edits that the files bear, and half of them have no rule of their own."""

import re
import sys
from pathlib import Path

import pytest

from rover.session.assembly import with_user_activities

HERE = Path(__file__).parents[2] / "tools" / "diagnosis"
sys.path.append(str(HERE))
from bench import files_with  # noqa: E402
from causes import CAUSES, draw  # noqa: E402


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_the_files_bear_each_cause(cause, tmp_path):
    [drawn] = draw(1, 5, (cause,))
    assembly, _ = with_user_activities(files_with(drawn, tmp_path), {})
    assert assembly.bench is not None
    assert len(assembly.bench.faults) == len(drawn.faults)
    re.compile(cause.named)


def test_half_of_the_causes_have_no_rule_of_their_own():
    assert sum(not cause.has_rule for cause in CAUSES) * 2 >= len(CAUSES) >= 20


def test_one_seed_draws_the_same_causes():
    assert draw(40, 1) == draw(40, 1) != draw(40, 2)
