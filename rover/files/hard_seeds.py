"""The file of hard seeds: rehearsals that once failed, what they taught, and what must hold of them now."""

from typing import Annotated, Any, Literal

from pydantic import Field

from rover.files.types import Due, Model, Text, WholeNumber, YesOrNo


class HardSeed(Model):
    """One of them."""

    errand: Text
    """Errand file, relative to this one."""
    seed: Annotated[WholeNumber, Field(ge=0)]
    """Of bench and behaviour."""
    given: Annotated[dict[str, Any], Due("values by key")] = Field(default_factory=dict)
    """As `--given` has them: `{bench.floor.slip: 3 %}`."""
    faults: Annotated[list[Text], Due("list of lines")] = Field(default_factory=list)
    """As `--fault` has them."""
    holds: Literal["success", "honest"]
    """What must hold: `success` as of [trials](#ranges-file), or `honest`: it ends, nothing is counted that is not
    there, and the robot does not leave the field."""
    fails: YesOrNo = False
    """`yes`: it still does not hold. Once it does, the tests say so, and this is taken out."""
    taught: Text
    """What went wrong, and what it taught."""


class HardSeedsFile(Model):
    """The whole file."""

    hard_seeds: Text
    """Title."""
    seeds: list[HardSeed]
    """The rehearsals."""
