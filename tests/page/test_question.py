"""An errand that asks which object to fetch next is answered at the page."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.page.rehearsing import ROOT, Served, serving


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    for folder in ("config", "behaviours"):
        for path in (ROOT / folder).rglob("*.yaml"):
            copy = tmp_path / path.relative_to(ROOT)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_text(path.read_text("utf-8"), "utf-8")
    errand = tmp_path / "config" / "greenhouse.yaml"
    asking = errand.read_text("utf-8").replace("order: nearest", "order: ask")
    errand.write_text(asking, "utf-8")
    behaviour = tmp_path / "behaviours" / "collect.yaml"
    patient = behaviour.read_text("utf-8").replace("after: 30 s, go: pick_up", "after: 40 min, go: pick_up")
    assert patient.count("40 min") == 1  # in 30 s at this pace a slow machine's browser has not even looked
    behaviour.write_text(patient, "utf-8")
    with serving("rehearse", str(errand), "--pace", "20", cwd=tmp_path) as served:
        yield served


def test_the_next_object_is_chosen_at_the_page(served: Served, new_tab: Any) -> None:
    tab = new_tab(served.address)
    tab.wait_for_selector("#question:not([hidden])")
    first = tab.inner_text("#asked")
    assert first.startswith("The errand asks: yes or no: ")
    tab.click("#question [data-act=no]")
    tab.wait_for_selector("#events td:has-text('propose to')")
    tab.wait_for_function("first => !['', first].includes(document.getElementById('asked').textContent)", arg=first)
    tab.keyboard.press("y")
    tab.wait_for_selector("#standing:has-text('running: pick_up')")
