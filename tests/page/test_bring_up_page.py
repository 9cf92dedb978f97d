"""Bring-up is watched at the page: its findings come as events, and a stop there stops it."""

import asyncio
import json
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.page.rehearsing import Served, serving
from tests.session.test_jog import Stand

pytestmark = pytest.mark.real_time

aiohttp = pytest.importorskip("aiohttp", reason="needs aiohttp: pip install -e '.[page]'")


def told(served: Served, is_enough: Callable[[dict[str, Any]], bool]) -> list[dict[str, Any]]:
    """Return what a viewer is told until something comes, or the page ends."""

    async def look() -> list[dict[str, Any]]:
        heard: list[dict[str, Any]] = []
        async with aiohttp.ClientSession() as session, session.ws_connect(f"{served.url}live") as live:
            await live.send_json({"token": served.token})
            async for message in live:
                heard.append(json.loads(message.data))
                if is_enough(heard[-1]):
                    break
        return heard

    return asyncio.run(asyncio.wait_for(look(), 60.0))


def test_what_is_found_is_shown_as_it_comes() -> None:
    with ExitStack() as closing:
        folder = Path(closing.enter_context(tempfile.TemporaryDirectory(prefix="b-")))
        Stand(folder, closing)
        bring_up = ("bring-up", "cart.yaml", "--guard", str(folder / "guard"), "--yes-to-all")
        served = closing.enter_context(serving(*bring_up, "--only", "motors", cwd=folder))
        heard = told(served, lambda one: one["kind"] == "event" and one["what"] == "check")
        sheet = next(one for one in heard if one["kind"] == "sheet")
        assert sheet["title"] == "Bring-up: On a stand"
        assert not sheet["drives"]
        assert heard[-1]["text"].startswith("motors: ")
        now = next(one for one in heard if one["kind"] == "now")
        assert [name for name, *_ in now["devices"]] == ["counts", "heading", "battery"]
