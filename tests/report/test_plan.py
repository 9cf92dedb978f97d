"""The plan: what stands there, what was met, and a legend of that alone."""

from dataclasses import replace
from pathlib import Path

import pytest

from rover.errand.ledger import Ledger
from rover.estimate.field import ground_of
from rover.estimate.looked_at import LookedAt, LookRound
from rover.events import Note
from rover.files import yaml_source
from rover.files.errand import Errand
from rover.record.run import FinalObject, RecordError, RunEnd
from rover.report.figures import things_met
from rover.report.page import write_report
from tests.report.test_report import EVENTS, FIELD, invented_run, page_of

GREENHOUSE = Path(__file__).parents[2] / "config/greenhouse.yaml"


def test_the_plan_shows_what_stands_there_and_what_was_met_and_the_legend_no_more(tmp_path: Path) -> None:
    things = {"posts": [[3, 2, 0.05]], "walls": [[[4, 1], [4, 2]]]}
    field = {**FIELD, "places": {"tap": [2, 3, None]}, "marker": [0.1, 3], "north": 1.0, "off_the_map": things}
    met = (
        Note("met", "something touched at x 3.05 m, y -1.95 m"),
        Note("met", "something heard at x 1.00 m, y 1.00 m"),
    )
    run = replace(
        invented_run((*EVENTS, *met), field=field),
        final_objects=(FinalObject("jar 2", "teal", 5.0, 3.0, "floor"),),
        outcome=RunEnd("failed", "some_left", {"overlooked": {"side": 0.25, "squares": [(5.0, 0.5), (5.25, 0.5)]}}),
    )
    rich = {"tap", "named place", "marker at the tray", "N", "post, not on the map", "wall, not on the map"}
    rich |= {"met, touched; on no map", "met, only heard; on no map", "never looked at", "on the floor at the end"}

    page = page_of(run, tmp_path)
    assert rich <= set(page.svg_texts)
    bars = [(path["d"] or "").count("h") for path in page.tags("path") if (path["d"] or "").count("M") == 4]
    assert bars == [4, 4]  # two for each square, on the wide plan and on the narrow one
    assert not rich & set(page_of(invented_run(), tmp_path).svg_texts)


def test_what_the_robot_met_is_shown_with_how_sure_its_place_is(tmp_path: Path) -> None:
    """The robot's own place was known to 1 cm then; 95 % of such places lie within 2.45 cm of it."""
    (met,) = things_met(invented_run((Note("met", "something touched at x 3.05 m, y -1.95 m"),)))

    assert (met.x, met.y, met.touched) == (3.05, -1.95, True)
    assert met.spread == pytest.approx(0.02448, abs=1e-4)


def test_what_the_ledger_notes_is_what_the_plan_shows() -> None:
    """Negative places and both ways of meeting something, through the ledger's own words."""
    errand = Errand.model_validate(yaml_source.read(GREENHOUSE, GREENHOUSE.name).values)
    ground = ground_of(errand.field, 0.05, errand.expect)
    ledger = Ledger(errand, ground, LookedAt(ground, LookRound(0.0, 2.0, 0.25)))
    ledger.obstacles.touched([(-1.234, 0.5)], 0)
    ledger.obstacles.heard([(2.0, -0.75)], 0)

    shown = [(met.x, met.y, met.touched) for met in things_met(invented_run(tuple(ledger.events)))]

    assert shown == [(-1.23, 0.5, True), (2.0, -0.75, False)]


@pytest.mark.parametrize(
    ("header", "summary", "named"),
    [
        ({"kinds": '{"amber": {"hue": [1]}}'}, {}, "'kinds'"),
        ({"kinds": "{"}, {}, "'kinds'"),
        ({"allowance": "ten"}, {}, "'allowance'"),
        ({"field": '{"places": {"tap": [1]}}'}, {}, "'field'"),
        ({}, {"overlooked": {"side": 0.25}}, "'overlooked'"),
    ],
)
def test_what_of_a_record_cannot_be_drawn_is_named(
    header: dict[str, str], summary: dict[str, object], named: str, tmp_path: Path
) -> None:
    run = replace(invented_run(), header=header, outcome=RunEnd("done", "all_in", summary))

    with pytest.raises(RecordError, match=named):
        write_report(run, tmp_path / "report.html")


def test_an_errand_that_brings_nothing_says_nothing_of_deliveries(tmp_path: Path) -> None:
    run = replace(invented_run(()), outcome=RunEnd("done", "back", {"expected": 9, "left": None}))

    text = page_of(run, tmp_path).text

    assert "by the robot's own account" not in text
    assert "worst axis error" not in text
