"""A real browser, and pages that it opens."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or ""
QUIET = (
    *("--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update"),
    *("--disable-sync", "--disable-gpu", "--no-sandbox"),
)


@pytest.fixture(autouse=True)
def state_of_its_own(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the page's token out of this user's own folder."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Start a browser, for one file: while it is driven its own event loop runs here, and no other test's can."""
    if not CHROMIUM:
        pytest.skip("needs chromium: apt install chromium")
    sync_api = pytest.importorskip("playwright.sync_api", reason="needs playwright: pip install -e '.[dev]'")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*QUIET])
        yield browser
        browser.close()


@pytest.fixture
def errors(browser: Any) -> list[str]:
    """What pages have complained of."""
    return []


@pytest.fixture
def new_tab(browser: Any, errors: list[str]) -> Iterator[Any]:
    """Return what opens a page, each in a context of its own."""
    contexts = []

    def open_(url: str, width: int = 1200, height: int = 900) -> Any:
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        tab = context.new_page()
        tab.set_default_timeout(60_000)
        tab.on("pageerror", lambda error: errors.append(str(error)))
        tab.goto(url)
        return tab

    yield open_
    for context in contexts:
        context.close()


@pytest.fixture
def files(tmp_path: Path) -> Path:
    return tmp_path
