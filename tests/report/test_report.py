"""The report: one page that stands alone, holds everything, and escapes what it is given."""

import json
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rover.events import (
    BELIEVED,
    SEEN,
    Delivery,
    Event,
    Find,
    GivenUp,
    Health,
    HealthChange,
    HoldBack,
    Note,
    StateChange,
    Stop,
    TrackPoint,
)
from rover.record.run import (
    FinalObject,
    Gap,
    Happening,
    Incident,
    RecordedRun,
    RecordError,
    RunEnd,
    TrackSample,
    TrueBump,
    TrueFigures,
    TrueFind,
    TruePose,
    TrueTouch,
)
from rover.report.page import write_report

MINUS, UNKNOWN = "\u2212", "\u2013"
SECOND = 1_000_000_000
FIELD = {
    "boundary": [[0, 0], [6, 0], [6, 4], [0, 4]],
    "walls": {"north": [[0, 4], [6, 4]]},
    "zone": {"x": 0.6, "y": 3, "width": 1.2, "depth": 1.2},
    "start": {"x": 0.5, "y": 0.5, "heading": 0.0},
    "slots": [[0.4, 3.0], [0.8, 3.0]],
}
EVENTS: Sequence[Event] = (
    StateChange("", "seek/look", "start", "collect.yaml:3"),
    StateChange("seek/look", "pick_up", "when range.distance < 0.3", "collect.yaml:9", {"range.distance": -0.28125}),
    HoldBack("obstacle ahead"),
    HoldBack("obstacle ahead", ended=True),
    HealthChange("heading", Health.OVERDUE, "no report for 310 ms"),
    Find(1, "amber", 1.5, 2.5, 4e-4, 1e-4, 2e-4),
    Delivery(1, "amber", 2, 0.8, 3.0, known_by=SEEN),
    Find(2, "violet", 4.25, 1.125, 1e-4, 0.0, 1e-4),
    GivenUp("teal", 5.5, 0.75, "four tries, not gripped"),
    Note("operator", "shade moved"),
    Stop("stop input open"),
)


def invented_run(
    events: Sequence[Event] = EVENTS, title: str = "Bring the jars in", field: object = FIELD
) -> RecordedRun:
    """Return a run with one event each second and two track samples."""
    point = TrackPoint(0.5, 0.5, 0.0, 0.01, 0.01, 0.01, "seek/look")
    return RecordedRun(
        header={"title": title, "seed": "41", "field": json.dumps(field), "file:config/cart.yaml": "robot: Cart"},
        track=(TrackSample(0, point, (0, 0)), TrackSample(SECOND, point, (0, 0))),
        true_track=(TruePose(0, 0.5, 0.5, 0.0),),
        happenings=tuple(Happening(number * SECOND, event) for number, event in enumerate(events)),
        true_finds={1: TrueFind(1, 1.52, 2.45)},
        final_objects=(FinalObject("jar 1", "amber", 0.8, 3.0, "tray"),),
        gaps=(),
        outcome=RunEnd("failed", "some_left, when done or failed", {"expected": 3}),
        started_ns=0,
        ended_ns=83_400_000_000,
    )


class Page(HTMLParser):
    """A parsed page: its elements, its rows of cells, its texts; complains of elements that are not closed in order."""

    VOID = frozenset({"meta", "input", "wbr"})

    def __init__(self, source: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.rows: list[list[str]] = []
        self.text = ""
        self.svg_texts: list[str] = []
        self._open: list[str] = []
        self.feed(source)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self._open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._open[-1:] == ["text"]:
            self.svg_texts.append(data)
        if "td" in self._open or "th" in self._open:
            self.rows[-1][-1] += data

    def tags(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for tag, attributes in self.elements if tag == name]


def page_of(run: RecordedRun, folder: Path) -> Page:
    return Page(write_report(run, folder / "report.html").read_text(encoding="utf-8"))


def test_every_find_is_in_the_table_with_its_errors(tmp_path: Path) -> None:
    rows = page_of(invented_run(), tmp_path).rows

    reported = ["1", "A", "amber", "1.500", "2.500", "51", "31", "22"]
    assert [*reported, "1.520", "2.450", f"{MINUS}20", "50", "50", "54", "NO"] in rows
    assert ["2", "V", "violet", "4.250", "1.125", "24", "24", "0", *[UNKNOWN] * 7] in rows


def test_without_any_truth_there_are_no_empty_columns_for_it(tmp_path: Path) -> None:
    page = page_of(replace(invented_run(), true_finds={}), tmp_path)

    assert ["1", "A", "amber", "1.500", "2.500", "51", "31", "22"] in page.rows
    assert "Errors of the finds" not in page.text
    assert "true place" not in page.svg_texts


def test_what_is_beyond_the_allowance_is_marked(tmp_path: Path) -> None:
    """By its error where the truth is known: find 1 is 50 mm off; else by its ellipse: find 2 is known to 24 mm."""

    def last_cells(allowance: str) -> list[str]:
        run = invented_run()
        page = page_of(replace(run, header={**run.header, "allowance": allowance}), tmp_path)
        return [row[-1] for row in page.rows if row[2:3] in (["amber"], ["violet"]) and len(row) == 16]

    assert last_cells("0.049") == ["NO", "by its ellipse"]
    assert last_cells("0.051") == ["yes", "by its ellipse"]
    assert last_cells("0.02") == ["NO", "not sure"]


def test_deliveries_given_up_and_changes_are_in_their_tables(tmp_path: Path) -> None:
    rows = page_of(invented_run(), tmp_path).rows

    assert ["0:06.0", "1", "A", "amber", "2", "0.800", "3.000", "100.0", "seen in the tray"] in rows
    assert ["0:08.0", "T", "teal", "5.500", "0.750", "four tries, not gripped"] in rows
    change = ["seek/look", "pick_up", "when range.distance < 0.3", "collect.yaml:9", f"range.distance {MINUS}0.2812"]
    assert ["0:01.0", change[0], "", *change[1:], ""] in rows


def test_what_went_wrong_on_the_way_is_told_with_how_long_it_lasted(tmp_path: Path) -> None:
    rows = page_of(invented_run(), tmp_path).rows

    assert ["0:02.0", "held back", "obstacle ahead", "", "", "0:01.0"] in rows
    assert ["0:04.0", "heading", "overdue: no report for 310 ms", "", "", "1:19.4"] in rows
    assert ["0:09.0", "operator", "shade moved", "", "", ""] in rows
    assert ["0:10.0", "stopped", "stop input open", "", "", ""] in rows


def test_what_comes_again_is_one_row_with_a_count_and_a_span(tmp_path: Path) -> None:
    again = [HealthChange("range", health, "") for health in (Health.OVERDUE, Health.OK) * 3]
    rows = page_of(invented_run([*again, Note("fix", "by a wall"), Note("fix", "by a wall")]), tmp_path).rows

    assert ["0:00.0", "range", "overdue", "3", "0:04.0", "0:03.0"] in rows
    assert ["0:06.0", "fix", "by a wall", "2", "0:07.0", ""] in rows
    assert not [row for row in rows if row[1:3] == ["range", "ok"]]


def test_the_heading_says_how_it_went(tmp_path: Path) -> None:
    text = page_of(invented_run(), tmp_path).text

    for words in ("Bring the jars in", "failed: some_left, when done or failed", "1 of 3", "1:23.4", "50 (find 1)"):
        assert words in text


def test_what_is_only_believed_to_be_there_is_told_apart(tmp_path: Path) -> None:
    page = page_of(invented_run((*EVENTS, Delivery(2, "teal", 3, 0.9, 3.0, 0.98, BELIEVED))), tmp_path)

    assert [
        "0:11.0",
        "2",
        "T",
        "teal",
        "3",
        "0.900",
        "3.000",
        "98.0",
        "nothing: only believed, not counted",
    ] in page.rows
    assert "1 of 3, 1 more only believed" in page.text
    assert "seen 1, felt 0, believed 1" in page.text


def test_an_object_gripped_again_is_one_find_and_the_last_counts(tmp_path: Path) -> None:
    again = Find(1, "amber", 1.6, 2.5, 4e-4, 1e-4, 2e-4)
    rows = page_of(invented_run((*EVENTS, again)), tmp_path).rows

    assert [row[3] for row in rows if row[:3] == ["1", "A", "amber"]] == ["1.600"]


def test_units_stand_in_the_headings(tmp_path: Path) -> None:
    heads = page_of(invented_run(), tmp_path).rows[0]

    named = [head.replace("\xa0", " ") for head in heads]
    assert {"reported x / m", "true x / m", "error in x / mm", "short semi-axis / mm", "long one from x / deg"} <= set(
        named
    )


def with_truth() -> RecordedRun:
    """Return the invented run as a rehearsal's, whose second find held nothing."""
    truth = TrueFigures(3, 0, 1, 1, 1, 0, 1, 0.15, 1, 0, 2.5, 0.012, 4.0)
    incidents = (Incident(0, TrueBump(0.2, 0.3, 0.15)), Incident(SECOND, TrueTouch("2", "teal", 3.0, 1.0, 0.04, True)))
    return replace(invented_run(), truth=truth, incidents=incidents)


def test_what_truly_happened_stands_beside_what_the_robot_believed(tmp_path: Path) -> None:
    page = page_of(with_truth(), tmp_path)

    assert ["objects in the tray", "1", "0"] in page.rows
    assert ["finds with an object in the jaws", "2", "1"] in page.rows
    assert ["deliveries that brought an object", "1", "0"] in page.rows
    assert ["the fastest, m/s", UNKNOWN, "0.15"] in page.rows
    assert ["the farthest, m", UNKNOWN, "0.012"] in page.rows
    assert ["driven, m", "0.0", "4.0"] in page.rows
    assert ["0:00.0", "bump, the robot here", "0.200", "0.300", "0.15", UNKNOWN, "seek/look"] in page.rows
    touch = ["teal 2, touched in the tray", "3.000", "1.000", UNKNOWN, "40"]
    assert ["0:01.0", *touch, "seek/look"] in page.rows
    assert [row[-1] for row in page.rows if row[0] == "2" and row[2] == "violet"] == ["nothing held"]
    assert "truly in the tray0 of 3" in page.text


def test_of_a_run_on_the_robot_nobody_knows_what_truly_happened(tmp_path: Path) -> None:
    assert "truly" not in page_of(invented_run(), tmp_path).text


def test_the_plan_shows_each_find_with_its_ellipse_and_each_known_truth(tmp_path: Path) -> None:
    page = page_of(invented_run(), tmp_path)

    ellipses = page.tags("ellipse")
    assert len(ellipses) == 2 * 3  # two finds and the legend's, on a wide picture and on a narrow one
    scale = (1000 - 48 - 14) / 6.6  # the field and its rim, on lines of the grid
    assert float(ellipses[0]["rx"] or 0) == pytest.approx(0.05143 * scale, rel=0.01)
    assert (ellipses[0]["transform"] or "").startswith("rotate(-22.5 ")
    assert {"A1", "V2"} <= set(page.svg_texts)


def test_the_page_needs_nothing_from_outside(tmp_path: Path) -> None:
    source = write_report(invented_run(), tmp_path / "report.html").read_text(encoding="utf-8")
    page = Page(source)

    assert "http" not in source
    assert "url(" not in source
    assert "@import" not in source
    assert not {"script", "link", "img", "iframe", "image", "use"} & {tag for tag, _ in page.elements}
    assert not {"src", "href", "xlink:href"} & {name for _, attributes in page.elements for name in attributes}


HOSTILE = "</title><script>alert(1)</script>\" onload='x' & <b>\x00\x1b"


def test_hostile_texts_stay_texts(tmp_path: Path) -> None:
    events = (
        StateChange(HOSTILE, HOSTILE, HOSTILE, HOSTILE, {HOSTILE: HOSTILE}),
        Find(1, HOSTILE, 1.0, 1.0, 1e-4, 0.0, 1e-4),
        GivenUp(HOSTILE, 1.0, 1.0, HOSTILE),
        Note(HOSTILE, HOSTILE),
    )
    field = {**FIELD, "walls": {HOSTILE: [[0, 4], [6, 4]]}}

    page = page_of(invented_run(events, HOSTILE, field), tmp_path)

    assert not page.tags("script")
    assert not page.tags("b")
    assert not any("onload" in attributes for _, attributes in page.elements)
    assert page.text.count("<script>alert(1)</script>") >= 8
    assert "\x00" not in page.text


def test_a_run_in_which_nothing_happened_has_a_page_too(tmp_path: Path) -> None:
    run = RecordedRun({}, (), (), (), {}, (), (), None, 0, 0)

    text = page_of(run, tmp_path).text

    assert "A run without a title" in text
    assert "The record ends before the run did" in text
    assert "Nothing was found." in text
    assert "nan" not in text.lower()


def test_an_event_without_a_place_is_in_the_tables_but_not_on_the_plan(tmp_path: Path) -> None:
    nan = float("nan")
    events = (GivenUp("teal", nan, nan, "lost on the way"), Find(1, "amber", 1.0, 1.0, nan, nan, nan))

    page = page_of(invented_run(events), tmp_path)

    assert ["0:00.0", "T", "teal", UNKNOWN, UNKNOWN, "lost on the way"] in page.rows
    assert not [value for _, attributes in page.elements for value in attributes.values() if "nan" in (value or "")]


def test_lost_samples_are_owned_up_to(tmp_path: Path) -> None:
    run = RecordedRun({}, (), (), (), {}, (), (Gap("readings", 1, 5, 120), Gap("track", 1, 5, 3)), None, 0, 0)

    assert "samples lost123" in page_of(run, tmp_path).text


def test_a_field_that_cannot_be_used_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="header entry 'field' cannot be used"):
        write_report(invented_run(field={"boundary": [1, 2]}), tmp_path / "report.html")
