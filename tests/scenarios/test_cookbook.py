"""Every recipe of the language's page is rehearsed, and does what its name says."""

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from rover import Result, rehearse

PAGE = Path(__file__).parents[2] / "behaviours" / "README.md"
ERRAND = """
errand: A recipe
files: {robot: cart.yaml, behaviour: recipe.yaml, bench: bench.yaml}
field:
  boundary: [[0 m, 0 m], [4 m, 0 m], [4 m, 3 m], [0 m, 3 m]]
  start: {x: 2 m, y: 60 cm, heading: 0 deg}
  walls:
    south: [[0 m, 0 m], [4 m, 0 m]]
    east: [[4 m, 0 m], [4 m, 3 m]]
    north: [[4 m, 3 m], [0 m, 3 m]]
    west: [[0 m, 3 m], [0 m, 0 m]]
  zone: {x: 60 cm, y: 60 cm, width: 80 cm, depth: 80 cm, entry: 180 deg}
  places: {there: {x: 3 m, y: 2 m}, elsewhere: {x: 1.5 m, y: 2.2 m}}
kinds: {amber: {lid: amber, height: 60 mm, width: 50 mm}}
"""
BENCH = """
bench: A recipe's floor
objects: [{kind: amber, x: 2.6 m, y: 2.2 m}]
"""


class Due(NamedTuple):
    """What a recipe is rehearsed with, and how it ends."""

    reason: str
    delivered: int = 0
    given: dict[str, object] = {}  # noqa: RUF012  it is never changed
    settings: dict[str, str] = {}  # noqa: RUF012


BLIND = {"bench.faults": ["at 0 s: camera silent"]}
STANDING = {"bench.faults": ["at 0 s: counts silent"], "robot.limits.without": {"counts": "never"}}
RECIPES = {
    "Go there and come back": [Due("back")],
    "Drive up to whatever is ahead": [Due("there")],
    "Wait for something, but not for ever": [Due("steady"), Due("given_up", given=BLIND)],
    "Try again, but not too often": [Due("there"), Due("given_up", given=STANDING)],
    "Give up in time": [Due("home_again")],
    "Go home before the battery is empty": [Due("resting", settings={"low": "13 V"})],
    "Look round, and note what is there": [Due("noted"), Due("blind", given=BLIND)],
    "Fetch one object and no more": [Due("one_is_in", delivered=1)],
    "Turn away where something holds it back": [Due("enough")],
    "Be surer of the position first": [Due("there")],
    "Ask, and go on when nobody answers": [Due("there")],
    "Whatever happens, end at home": [Due("all_well")],
}


def recipes() -> dict[str, str]:
    """Return the recipes of the page by their names."""
    cookbook = PAGE.read_text("utf-8").partition("\n## Cookbook\n")[2].partition("\n## ")[0]
    return dict(re.findall(r"^### (.*?)\n.*?^```yaml\n(.*?)^```$", cookbook, re.MULTILINE | re.DOTALL))


def rehearsed(folder: Path, recipe: str, due: Due) -> Result:
    for name, text in (("errand", ERRAND), ("bench", BENCH), ("recipe", recipe)):
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "cart.yaml").write_text((PAGE.parents[1] / "config/cart.yaml").read_text("utf-8"), encoding="utf-8")
    return rehearse(folder / "errand.yaml", given=due.given, settings=due.settings)


@pytest.mark.parametrize(
    ("name", "due"),
    [(name, due) for name, dues in RECIPES.items() for due in dues],
    ids=[f"{name}: {due.reason}" for name, dues in RECIPES.items() for due in dues],
)
def test_a_recipe_does_what_it_says(name, due, tmp_path):
    result = rehearsed(tmp_path, recipes()[name], due)
    assert (result.reason, result.delivered) == (due.reason, due.delivered)


def test_every_recipe_is_rehearsed():
    assert set(recipes()) == set(RECIPES)
    assert len(RECIPES) == 12
