"""Driving at the page: hold-to-run with a finger, a mouse or an arrow, read off the emulated device."""

import os
import re
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from tests.page.rehearsing import ROOT
from tests.session.test_jog import COMMAND, MOST_NS, Stand, wait_for

pytestmark = pytest.mark.real_time


class Jogged(NamedTuple):
    """A robot on a stand, and what to open to drive it."""

    stand: Stand
    address: str

    @property
    def is_moving(self) -> bool:
        return self.stand.is_moving()

    def page_process(self) -> int:
        folder = bytes(self.stand.folder / "guard")
        for path in Path("/proc").glob("[0-9]*/cmdline"):
            try:
                words = path.read_bytes().split(b"\0")
            except OSError:
                continue
            if b"rover.page" in words and folder in words:
                return int(path.parent.name)
        raise AssertionError("no page is served")


@pytest.fixture
def jogged() -> Iterator[Jogged]:
    with ExitStack() as closing:
        folder = Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="j-")))
        stand = Stand(folder, closing)
        said = closing.enter_context((folder / "said").open("w"))
        process = subprocess.Popen(
            [*COMMAND, "jog", "cart.yaml", "--guard", str(folder / "guard"), "--page=127.0.0.1:0"],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        closing.callback(process.wait)
        closing.callback(process.kill)
        pattern = re.compile(r"page: (\S+)   \(its token: (.+)\)\n")
        wait_for(lambda: pattern.search((folder / "said").read_text()))
        url, file = pattern.search((folder / "said").read_text()).groups()
        yield Jogged(stand, f"{url}#{Path(file).read_text('ascii').strip()}")


def let_pass() -> None:
    """Give whatever may still move time to do so."""
    until_ns = time.monotonic_ns() + 2 * MOST_NS
    wait_for(lambda: time.monotonic_ns() > until_ns)


def permit(tab: Any) -> None:
    """Permit motion; again where this computer was so busy that the guard took the program for dead."""
    tab.click("#acts [data-act=enable]:enabled")
    tab.wait_for_selector("#pad [data-way=forwards]:enabled")


def press(tab: Any, way: str) -> None:
    box = tab.locator(f"#pad [data-way={way}]").bounding_box()
    tab.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    tab.mouse.down()


def test_it_moves_only_while_a_button_is_held(jogged: Jogged, new_tab: Any, errors: list[str]) -> None:
    tab = new_tab(jogged.address)
    permit(tab)
    for way, (left, right) in {"forwards": (1, 1), "left": (-1, 1), "backwards": (-1, -1)}.items():
        press(tab, way)
        wait_for(lambda: jogged.is_moving)
        duties = jogged.stand.duty
        assert left * duties[0] > 0.0 < right * duties[1], way
        tab.mouse.up()
        jogged.stand.come_to_rest()
    assert errors == []


def test_it_is_driven_by_arrows_alone_and_an_arrow_let_go_ends_it(jogged: Jogged, new_tab: Any) -> None:
    tab = new_tab(jogged.address)
    permit(tab)
    tab.keyboard.down("ArrowUp")
    wait_for(lambda: jogged.is_moving)
    tab.keyboard.up("ArrowUp")
    jogged.stand.come_to_rest()


def test_it_stops_when_the_connection_is_lost_while_the_finger_stays(jogged: Jogged, new_tab: Any) -> None:
    tab = new_tab(jogged.address)
    permit(tab)
    press(tab, "forwards")
    wait_for(lambda: jogged.is_moving)
    tab.context.set_offline(True)  # as for a phone that leaves the network: what is open stays open, and nothing passes
    page = jogged.page_process()
    os.kill(page, signal.SIGSTOP)
    last_ns = time.monotonic_ns()
    try:
        assert jogged.stand.come_to_rest() - last_ns <= MOST_NS
    finally:
        os.kill(page, signal.SIGKILL)  # halted, it would not notice that the runtime is gone


def test_what_was_long_under_way_moves_nothing(jogged: Jogged, new_tab: Any) -> None:
    tab = new_tab(jogged.address)
    permit(tab)
    press(tab, "forwards")
    wait_for(lambda: jogged.is_moving)
    page = jogged.page_process()
    os.kill(page, signal.SIGSTOP)
    jogged.stand.come_to_rest()
    changes = len(jogged.stand.emulator.applied)
    tab.mouse.up()
    let_pass()
    os.kill(page, signal.SIGCONT)  # all that was said meanwhile comes at once
    tab.wait_for_selector("#standing:text-is('running')")
    let_pass()
    assert len(jogged.stand.emulator.applied) == changes


def test_one_drives_at_a_time_and_whoever_else_stops_it(jogged: Jogged, new_tab: Any) -> None:
    first, second = new_tab(jogged.address), new_tab(jogged.address)
    permit(first)
    second.wait_for_selector("#pad [data-way=forwards]:enabled")
    press(first, "forwards")
    wait_for(lambda: jogged.is_moving)
    press(second, "backwards")
    second.wait_for_selector("#driver:has-text('127.0.0.1 drives')")
    assert min(jogged.stand.duty) > 0.0
    second.mouse.up()
    assert min(jogged.stand.duty) > 0.0  # another one's letting go ends nothing
    second.click("#stop")
    jogged.stand.come_to_rest()
    first.wait_for_selector("#standing:has-text('STOPPED: stopped at the page')")


def test_a_viewer_without_the_token_does_not_drive(jogged: Jogged, new_tab: Any) -> None:
    tab = new_tab(jogged.address)
    permit(tab)
    stranger = new_tab(jogged.address.partition("#")[0])
    stranger.wait_for_selector("#ask-token:not([hidden])")
    stranger.keyboard.down("ArrowUp")
    let_pass()
    assert not jogged.is_moving
