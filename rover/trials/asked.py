"""What a campaign is to find out, as far as its summary must know."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from rover import quantities
from rover.quantities import QuantityError
from rover.trials.campaign import Campaign


@dataclass(frozen=True)
class Asked:
    """What a campaign is to find out.

    Attributes:
        title: the errand, in words.
        count: trials of each variant.
        variants: their names, as in the rows; the first is what the others are held against.
        compares: what the other variants are: other errands, the same without a safeguard, other values of one key.
        places: of varied numbers, each variant's place on an axis (SI); without it they stand side by side.
        units: of what was drawn, by key, where it has one.
    """

    title: str
    count: int
    variants: tuple[str, ...] = ("",)
    compares: Literal["errands", "safeguards", "values"] = "errands"
    places: Mapping[str, float] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)


def asked_by(campaign: Campaign, title: str) -> Asked:
    """Return what a campaign asks."""
    varied = {variant.name: value for variant in campaign.variants for value in variant.values.values()}
    numbers = {name: _number(value) for name, value in varied.items()}
    drawn = {} if campaign.ranges is None else campaign.ranges.draw
    return Asked(
        title,
        campaign.count,
        tuple(variant.name for variant in campaign.variants),
        "values" if varied else "safeguards" if any(one.without for one in campaign.variants) else "errands",
        {name: number for name, number in numbers.items() if number is not None},
        {key: spread.unit for key, spread in drawn.items() if spread.unit},
    )


def _number(value: Any) -> float | None:
    """Return a value of a file as a number (SI); None where it is none."""
    try:
        return None if isinstance(value, bool) else quantities.parse(str(value)).value
    except QuantityError:
        return None
