"""A run that is watched and commanded at the page: a real guard, a real browser, an emulated co-processor."""

import os
import re
import signal
import subprocess
from pathlib import Path
from typing import Any

import pytest

from rover.guard.client import state_of
from rover.stopping import Phase
from tests.session.conftest import Stand, stand

pytestmark = pytest.mark.real_time

__all__ = ["stand"]


@pytest.fixture
def runtime(stand: Stand) -> "subprocess.Popen[str]":
    """A run that drives straight on, with its page."""
    stand.straight_on("8 m")
    stand.emulate()
    return stand.start("--page=127.0.0.1:0")


@pytest.fixture
def address(stand: Stand, runtime: "subprocess.Popen[str]") -> str:
    """What to open in a browser."""
    url, file = stand.wait_for(lambda: re.search(r"page: (\S+)   \(its token: (.+)\)\n", stand.said), "a page").groups()
    return f"{url}#{Path(file).read_text('ascii').strip()}"


def phase_of(stand: Stand) -> Phase:
    return state_of(stand.guard).phase


def test_motion_is_enabled_held_stopped_and_resumed_at_the_page(
    stand: Stand, address: str, new_tab: Any, errors: list[str]
) -> None:
    tab = new_tab(address)
    tab.click("#acts [data-act=enable]")
    stand.wait_until_moving()
    tab.click("#acts [data-act=hold]")
    stand.wait_for(lambda: phase_of(stand) is Phase.HELD, "a hold")
    tab.wait_for_selector("#standing:has-text('HELD: held at the page by 127.0.0.1')")
    tab.click("#acts [data-act=go-on]")
    stand.wait_until_moving()
    tab.click("#stop")
    stand.wait_for(lambda: phase_of(stand) is Phase.STOPPED, "a stop")
    stand.wait_for(lambda: not stand.is_moving, "wheels at zero")
    tab.wait_for_selector("#standing:has-text('STOPPED: stopped at the page by 127.0.0.1')")
    assert tab.is_disabled("#acts [data-act=go-on]")  # a reset comes first
    tab.click("#acts [data-act=reset]")
    tab.click("#acts [data-act=go-on]")
    stand.wait_until_moving()
    assert errors == []


def test_it_is_worked_by_keys_alone(stand: Stand, address: str, new_tab: Any) -> None:
    tab = new_tab(address)
    tab.wait_for_selector("#acts [data-act=enable]:enabled")
    while tab.evaluate("document.activeElement.dataset.act") != "enable":
        tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    stand.wait_until_moving()
    tab.keyboard.press("h")
    stand.wait_for(lambda: phase_of(stand) is Phase.HELD, "a hold")
    tab.wait_for_selector("#acts [data-act=go-on]:enabled")
    tab.keyboard.press("g")
    stand.wait_until_moving()
    tab.focus("#acts [data-act=hold]")
    tab.keyboard.press(" ")  # stops, though a button has the focus
    stand.wait_for(lambda: phase_of(stand) is Phase.STOPPED, "a stop")


def test_without_the_token_there_is_a_stop_and_nothing_else(stand: Stand, address: str, new_tab: Any) -> None:
    tab = new_tab(address)
    tab.click("#acts [data-act=enable]")
    stand.wait_until_moving()
    stranger = new_tab(address.partition("#")[0])
    stranger.wait_for_selector("#ask-token:not([hidden])")
    stranger.keyboard.press("h")
    assert not stranger.is_visible("#acts [data-act=hold]:enabled")
    stranger.click("#stop")
    stand.wait_for(lambda: phase_of(stand) is Phase.STOPPED, "a stop")


def test_a_page_that_goes_away_or_dies_while_it_watches_changes_nothing(
    stand: Stand, address: str, new_tab: Any
) -> None:
    tab = new_tab(address)
    tab.click("#acts [data-act=enable]")
    stand.wait_until_moving()
    tab.close()
    (page,) = [
        int(path.parent.name)
        for path in Path("/proc").glob("[0-9]*/cmdline")
        if b"rover.page" in (words := words_of(path)) and bytes(stand.guard) in words
    ]
    before = stand.bench.pose.x
    os.kill(page, signal.SIGKILL)
    stand.wait_for(lambda: stand.bench.pose.x > before + 0.05, "way made afterwards")
    assert phase_of(stand) is Phase.RUNNING


def test_a_runtime_that_hangs_is_stopped_all_the_same(
    stand: Stand, runtime: "subprocess.Popen[str]", address: str, new_tab: Any
) -> None:
    tab = new_tab(address)
    tab.click("#acts [data-act=enable]")
    stand.wait_until_moving()
    runtime.send_signal(signal.SIGSTOP)
    try:
        tab.click("#stop")
        stand.wait_for(lambda: phase_of(stand) is Phase.STOPPED, "a stop")
        assert "at the page" in state_of(stand.guard).cause
    finally:
        runtime.send_signal(signal.SIGCONT)


def words_of(path: Path) -> list[bytes]:
    try:
        return path.read_bytes().split(b"\0")
    except OSError:
        return []
