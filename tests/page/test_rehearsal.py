"""A rehearsal that is watched: in a real browser, beside a real process."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.rehearsing import ROOT, Served, serving

ERRAND = str(ROOT / "config" / "greenhouse.yaml")


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with serving("rehearse", ERRAND, "--pace", "2", cwd=tmp_path) as served:
        yield served


def test_the_page_loads_and_the_plan_moves(served: Served, new_tab: Any, errors: list[str]) -> None:
    tab = new_tab(served.address)
    tab.wait_for_selector("#plan .robot path")
    assert tab.title().endswith(": operator page")
    before = tab.get_attribute("#plan .robot g", "transform")
    tab.wait_for_selector(f"#plan .robot g:not([transform='{before}'])")
    tab.wait_for_selector("#exits tbody tr")
    assert "running" in tab.inner_text("#standing")
    assert "counts" in tab.inner_text("#devices")
    assert "#" not in tab.url  # the token stays with the tab, and out of its address
    assert errors == []


def test_without_the_token_nothing_is_shown_and_a_typed_one_will_do(served: Served, new_tab: Any) -> None:
    tab = new_tab(served.url)
    tab.wait_for_selector("#ask-token:not([hidden])")
    assert tab.query_selector("#plan svg") is None
    tab.fill("#token", "not the token")
    tab.click("#ask-token button")
    tab.wait_for_selector("#notice:has-text('token is missing or wrong')")
    tab.fill("#token", served.token)
    tab.click("#ask-token button")
    tab.wait_for_selector("#plan .robot path")


def test_when_the_runtime_is_gone_the_page_says_so(served: Served, new_tab: Any) -> None:
    tab = new_tab(served.address)
    tab.wait_for_selector("#plan .robot path")
    served.process.kill()
    tab.wait_for_selector("#standing:text-is('ended: the runtime is gone')")
