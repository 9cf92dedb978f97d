"""Ledgers of the greenhouse errand."""

from pathlib import Path

import pytest

from rover.errand.ledger import Ledger
from rover.estimate.field import ground_of
from rover.estimate.looked_at import LookedAt, LookRound
from rover.files import yaml_source
from rover.files.errand import Errand

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"


@pytest.fixture
def ledger():
    """Make a ledger of the greenhouse errand; keys of the errand file are changed by name."""

    def make(**keys):
        errand = Errand.model_validate(yaml_source.read(GREENHOUSE, GREENHOUSE.name).values | keys)
        ground = ground_of(errand.field, 0.05, errand.expect)
        return Ledger(errand, ground, LookedAt(ground, LookRound(0.0, 2.0, 0.25)))

    return make
