"""How the page is laid out, on a desk and on a phone, and whether everybody can use it."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.rehearsing import ROOT, Served, serving

ERRAND = str(ROOT / "config" / "greenhouse.yaml")
SIZES = [(360, 640), (360, 800), (740, 360), (1200, 900)]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with serving("rehearse", ERRAND, "--pace", "2", cwd=tmp_path_factory.mktemp("rehearsal")) as served:
        yield served


def ready(tab: Any) -> Any:
    tab.wait_for_selector("#plan .robot path")
    tab.wait_for_selector("#exits tbody tr")
    tab.wait_for_selector("#drawing .state.active")
    return tab


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_nothing_is_wider_than_the_screen_and_a_stop_is_always_in_reach(
    served: Served, new_tab: Any, width: int, height: int
) -> None:
    tab = ready(new_tab(served.address, width, height))
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    for share in (0.0, 0.5, 1.0):
        tab.evaluate("share => window.scrollTo(0, share * document.documentElement.scrollHeight)", share)
        box = tab.locator("#stop").bounding_box()
        assert box["x"] >= 0.0
        assert box["x"] + box["width"] <= width
        assert box["y"] >= 0.0
        assert box["y"] + box["height"] <= height
        assert min(box["width"], box["height"]) >= 44.0  # for a thumb
        middle = [box["x"] + box["width"] / 2.0, box["y"] + box["height"] / 2.0]
        assert tab.evaluate("([x, y]) => document.elementFromPoint(x, y).id", middle) == "stop"


def test_what_is_last_on_the_sheet_can_be_read_above_the_controls(served: Served, new_tab: Any) -> None:
    tab = ready(new_tab(served.address, 360, 640))
    tab.evaluate("window.scrollTo(0, document.documentElement.scrollHeight)")
    last, controls = tab.locator("#sheet").bounding_box(), tab.locator("#controls").bounding_box()
    assert last["y"] + last["height"] <= controls["y"] + 1.0


@pytest.mark.parametrize(("width", "height"), [(360, 740), (1200, 900)])
def test_axe_finds_nothing_serious(served: Served, new_tab: Any, width: int, height: int) -> None:
    """By axe-core's own rules, which are those of WCAG 2 among others."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe: pip install -e '.[dev]'")
    tab = ready(new_tab(served.address, width, height))
    found = axe.Axe().run(tab).response["violations"]
    serious = [f"{one['id']}: {one['nodes'][0]['html']}" for one in found if one["impact"] in ("serious", "critical")]
    assert serious == []


def test_every_control_is_reached_and_named_by_keys_alone(served: Served, new_tab: Any) -> None:
    tab = ready(new_tab(served.address))
    reached = set()
    for _ in range(12):
        tab.keyboard.press("Tab")
        reached.add(tab.evaluate("document.activeElement.textContent.trim()"))
    enabled = {one.strip() for one in tab.locator("#controls button:enabled").all_text_contents()}
    assert enabled >= {"Hold", "Stop"}
    assert enabled <= reached


def test_the_sheet_is_shown_without_anything_from_elsewhere(served: Served, new_tab: Any) -> None:
    tab = new_tab("about:blank")
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    tab.goto(served.address)
    ready(tab)
    assert {one.split("/")[2] for one in asked if not one.startswith(("data:", "blob:"))} == {served.url.split("/")[2]}


def test_the_page_is_plain_files_with_no_build_step() -> None:
    folder = Path(ROOT / "rover" / "page" / "static")
    assert {path.suffix for path in folder.iterdir()} == {".html", ".css", ".js"}
    assert max(len(path.read_text("utf-8").splitlines()) for path in folder.iterdir()) <= 350


def test_nothing_is_offered_before_the_page_knows_how_the_run_stands() -> None:
    """A press in the meantime would be lost."""
    page = (ROOT / "rover" / "page" / "static" / "index.html").read_text("utf-8")
    buttons = re.findall(r"<button data-act=[^>]*>", page)
    assert len(buttons) == 6
    assert all(" disabled" in button for button in buttons)
