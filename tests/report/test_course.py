"""The course of a run in the report: states, objects, devices, signals, the loop, and what ended it."""

from array import array
from dataclasses import replace
from pathlib import Path

from rover.awaited import Awaited, Part
from rover.events import Delivery, Diversion, Event, GivenUp, ObjectEvent, StateChange
from rover.record.run import RecordedRun, RunEnd
from rover.record.series import DeviceSeries, RunSeries
from rover.report.devices import figures_table, reports_table
from rover.report.numbers import UNKNOWN
from rover.report.page import write_report
from rover.report.signals import signals_of
from rover.report.stories import stories_table
from rover.report.table import Letter, Time
from rover.report.tables import changes_table, states_table
from tests.report.test_report import SECOND, Page, invented_run


def plain(rows: object) -> list[list[str]]:
    """Return rows with times in seconds and letters as texts."""
    assert isinstance(rows, list)
    return [[_plain(cell) for cell in row] for row in rows]


def _plain(cell: object) -> str:
    match cell:
        case Time(ns):
            return f"{ns / SECOND:g} s"
        case Letter(text, _):
            return text
    return str(cell)


def run_of(*events: Event, outcome: RunEnd | None = None) -> RecordedRun:
    """Return a run with one event a second, which ends a second after the last."""
    return replace(
        invented_run(events), outcome=outcome, ended_ns=len(events) * SECOND, true_finds={}, final_objects=()
    )


def test_each_state_has_its_visits_and_the_exits_it_was_left_by() -> None:
    run = run_of(
        StateChange("", "look", "start", "a.yaml:1"),
        StateChange("look", "move", "when done", "a.yaml:2"),
        StateChange("move", "look", "after 2 s", "a.yaml:3"),
        StateChange("look", "move", "when done", "a.yaml:2"),
    )

    assert plain(states_table(run).rows) == [
        ["look", "2", "2 s", "50.0", "when done (2 times)"],
        ["move", "2", "2 s", "50.0", "after 2 s; the end of the record"],
    ]


def test_a_change_says_what_was_waited_for_and_where_it_was_to_go() -> None:
    part = Part("target.distance < 22 cm", False, 0.234, "<", 0.22, "cm", ("target.distance",))
    awaited = Awaited("when target.distance < 22 cm", "a.yaml:4", "grip", "approach", parts=(part,))
    change = StateChange(
        *("approach", "put_off", "after 30 s", "a.yaml:5", {}, "failed: no way", (awaited,)),
        diversions=(Diversion("back_off", 4),),
    )

    (row,) = plain(changes_table(run_of(change)).rows)

    assert row[2:4] == ["failed: no way", "put_off (back_off had had its 4 tries)"]
    assert row[-1] == "when target.distance < 22 cm: target.distance < 22 cm (23.4 cm)"


def test_an_objects_story_stands_together_and_repetitions_are_counted() -> None:
    run = run_of(
        ObjectEvent(1, "amber", "seen", 1.0, 2.0, "in 3 frames"),
        ObjectEvent(2, "teal", "seen", 3.0, 2.0, "in 3 frames"),
        ObjectEvent(1, "amber", "not held", 1.0, 2.0, "camera"),
        ObjectEvent(1, "amber", "not held", 1.0, 2.1, "camera"),
        Delivery(1, "amber", 2, 0.5, 0.6, 1.0, "seen", 1, "in 3 of 3 frames"),
        GivenUp("teal", 3.0, 2.0, "cannot be reached", 2),
    )

    assert plain(stories_table(run).rows) == [
        ["1", "A", "amber", "0 s", "seen", "in 3 frames", "1.000", "2.000", "", ""],
        ["1", "A", "amber", "2 s", "not held", "camera", "1.000", "2.000", "2", "3 s"],
        ["1", "A", "amber", "4 s", "delivered, slot 2", "seen: in 3 of 3 frames", "0.500", "0.600", "", ""],
        ["2", "T", "teal", "1 s", "seen", "in 3 frames", "3.000", "2.000", "", ""],
        ["2", "T", "teal", "5 s", "given up", "cannot be reached", "3.000", "2.000", "", ""],
    ]


def test_what_is_said_of_the_run_stands_first_without_its_line_breaks(tmp_path: Path) -> None:
    said = (
        "Bring it: done.",
        "",
        "What ended it",
        "  'a' was left for\n    'b' [1.0 s, entry 2].",
        "  1. battery: low.",
    )

    page = Page(write_report(invented_run(), tmp_path / "report.html", said=said).read_text(encoding="utf-8"))

    assert "What ended it'a' was left for 'b' [1.0 s, entry 2].1. battery: low." in page.text
    assert page.text.index("What ended it") < page.text.index("Plan")


def reports(*taken_ms: int) -> DeviceSeries:
    taken = array("q", [ms * 1_000_000 for ms in taken_ms])
    return DeviceSeries(
        taken, array("q", [5_000_000] * len(taken)), 1, {"volts": (taken, array("d", [12.0] * len(taken)))}
    )


def test_reports_in_figures_and_as_signals() -> None:
    series = RunSeries({"battery": reports(0, 500, 1500), "barometer": reports(0, 10)})

    known = {"battery reports": 3.0, "battery reports / due": 0.75, "battery age / s": 0.006, "counts reports": 9.0}
    run = run_of(outcome=RunEnd("done", "over", {"figures": known | {"track factor": -1.52345}}))

    barometer, battery, counts = plain(reports_table(run, series).rows)
    assert barometer == ["barometer", "2", UNKNOWN, UNKNOWN, "5.0", "5.0", "0.01", "1"]
    assert battery == ["battery", "3", "75.0", "6.0", "5.0", "5.0", "1.00", "1"]
    assert counts == ["counts", "9", *[UNKNOWN] * 6]
    assert plain(figures_table(run).rows) == [["track factor", "\u22121.523"]]
    assert {signal.name for signal in signals_of(run_of(), series)} >= {"battery / V", "barometer.volts"}


def test_a_page_with_all_of_it_stands_alone_on_wide_and_narrow_screens(tmp_path: Path) -> None:
    source = write_report(invented_run(), tmp_path / "report.html", RunSeries({"battery": reports(0, 500)}))
    page = Page(source.read_text(encoding="utf-8"))

    widths = [float((svg["viewbox"] or "").split()[2]) for svg in page.tags("svg")]
    assert widths == [1000.0, 380.0] * (len(widths) // 2)
    assert {"battery / V", "duty of the motors / %", "held: obstacle ahead"} <= set(page.svg_texts)
    assert page.text.count("time in min:s") == 6
