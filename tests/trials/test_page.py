"""The page of a campaign: it stands alone, holds everything, escapes what it is given; its pictures are to scale."""

import math
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rover.report.axis import Axis, round_step
from rover.trials.asked import Asked
from rover.trials.page import write_summary
from rover.trials.plots import CLOSEST, draw_errors, draw_links, draw_varied, places_of
from rover.trials.summary import Summary, summarise
from tests.trials.rows import command_of, failure, rows, success

VALUES = {"slip=0 %": 0.0, "slip=5 %": 5.0, "slip=20 %": 20.0}


def varied(places: dict[str, float]) -> Summary:
    of = [row for number, name in enumerate(VALUES) for row in rows([k >= number * 10 for k in range(40)], name)]
    return summarise(of, Asked("errand.yaml", 40, tuple(VALUES), "values", places), command_of)


def drawn() -> Summary:
    of = [
        (failure if number % 3 == 0 else success)(
            number, drawn={"slip": number % 3 * 1.0, "bias": float(number * 7 % 11)}, axis_errors_m=(0.001 * number,)
        )
        for number in range(1, 61)
    ]
    broken = failure(61, result="error", reason="<b>", error="Traceback\n  <b>raised</b>\nKeyError: 'x'\n", truth=None)
    return summarise([*of, broken], Asked("Jars & <lids>", 100, units={"slip": "%"}), command_of)


class Reader(HTMLParser):
    """Takes in a page: its tags, what these refer to, and the text of each element."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.refers: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.refers += [value or "" for name, value in attrs if name in ("src", "href")]

    def handle_data(self, data: str) -> None:
        self.texts.append(data.strip())


def read(summary: Summary, folder: Path) -> Reader:
    reader = Reader()
    reader.feed(write_summary(summary, folder / "trials.html").read_text("utf-8"))
    return reader


def test_the_page_stands_alone_and_escapes(tmp_path: Path) -> None:
    page = read(drawn(), tmp_path)
    assert not page.refers
    assert not {"script", "link", "img", "b", "lids"} & set(page.tags)
    assert "Jars & <lids>" in page.texts


def test_the_page_has_what_the_terminal_has_and_whole_tracebacks(tmp_path: Path) -> None:
    page = read(drawn(), tmp_path)
    assert "61 of 100 trials so far" in page.texts
    for title in ("In figures", "Where it went wrong", "What the failures go with", "What was raised"):
        assert title in page.texts
    assert "Traceback\n  <b>raised</b>\nKeyError: 'x'" in page.texts
    assert "rover rehearse errand.yaml --seed 61" in page.texts
    assert any(text.startswith("mend this first: fails more where slip is low: 100 %") for text in page.texts)


def test_a_campaign_without_any_trial_has_a_page(tmp_path: Path) -> None:
    page = read(summarise([], Asked("errand.yaml", 10, tuple(VALUES), "values", VALUES), command_of), tmp_path)
    assert "0 of 30 trials so far" in page.texts
    assert "svg" not in page.tags


def test_values_lie_along_the_axis_as_their_numbers_do() -> None:
    first, second, third = places_of(varied(VALUES), list(VALUES))
    assert (second - first) / (third - first) == pytest.approx(5.0 / 20.0)


@pytest.mark.parametrize(
    "places", [{}, dict.fromkeys(VALUES, 1.0), {"slip=0 %": 0.0, "slip=5 %": 0.1, "slip=20 %": 20.0}]
)
def test_values_without_numbers_or_too_close_stand_side_by_side(places: dict[str, float]) -> None:
    first, second, third = places_of(varied(places), list(VALUES))
    assert second - first == pytest.approx(third - second)
    assert second - first > CLOSEST


def test_share_and_times_are_drawn_with_their_intervals() -> None:
    picture = draw_varied(varied(VALUES))
    texts = [text.text for text in picture.iter("text")]
    assert {"0 %", "5 %", "20 %", "slip", "successes / %", "time of successes / s"} <= set(texts)
    assert len(list(picture.iter("circle"))) == 2 * len(VALUES) + 1, "a share and a median each, and the legend's"


def test_what_may_be_luck_is_told_by_its_sign_and_not_by_colour() -> None:
    (one,) = drawn().variants
    fills = [circle.get("fill") for circle in draw_links(one.links).iter("circle")]
    assert [link.is_shown for link in one.links] == [True, False]
    assert len(set(fills)) == 2


def test_all_finds_are_in_the_bars() -> None:
    errors = drawn().variants[0].axis_errors
    assert errors is not None
    bars = [float(bar.get("height") or 0) for bar in draw_errors(errors).iter("rect")]
    scale = max(bars) / max(errors.bins)
    assert sum(bars) == pytest.approx(scale * errors.number, rel=1e-3)


def test_all_that_is_drawn_lies_within_the_picture() -> None:
    for picture in (draw_varied(varied(VALUES)), draw_links(drawn().variants[0].links)):
        _, _, width, height = (float(part) for part in (picture.get("viewBox") or "").split())
        for mark in picture.iter():
            for name, most in (
                ("x", width),
                ("x1", width),
                ("x2", width),
                ("y", height),
                ("y1", height),
                ("y2", height),
            ):
                assert 0.0 <= float(mark.get(name, 0.0)) <= most, mark.attrib


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (0.0, 100.0), (812.0, 815.0), (-3.0, 7.0), (0.0, 12345.0)])
def test_ticks_are_few_round_values_along_the_axis(low: float, high: float) -> None:
    ticks = Axis(low, high, 0.0, 100.0).ticks()
    assert 2 <= len(ticks) <= 8
    assert all(low - 1e-9 <= tick <= high + 1e-9 for tick in ticks)


def test_round_steps() -> None:
    assert [round_step(least) for least in (0.3, 1.0, 1.2, 4.9, 51.0)] == pytest.approx([0.5, 1.0, 2.0, 5.0, 100.0])
    assert math.isclose(round_step(0.0003), 0.0005)
