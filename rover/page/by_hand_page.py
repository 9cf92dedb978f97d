"""What the page shows of a session without an errand: bring-up, and jog, where people may drive at it."""

import time
from collections.abc import Mapping, Sequence
from typing import Any

from rover.devices.families import reporting
from rover.devices.readings import Reading
from rover.events import Event
from rover.files.robot import Robot
from rover.page.process import PageProcess
from rover.page.timing import StepTiming
from rover.page.words import event_words, reading_words, recognised
from rover.session.watched import ByHandPage, Push, Readings, Standing, Wish

NOW_EVERY_S, TICK_EVERY_S = 0.1, 0.04
ACTS, DRIVING_ACTS = ("hold", "reset", "go-on"), ("enable", "hold", "reset", "go-on")
MS = 1_000_000


class ShownByHand(ByHandPage):
    """Shows a session.

    Args:
        process: that serves the page.
        drives: people may drive at it.
    """

    def __init__(self, process: PageProcess, *, drives: bool) -> None:
        self._process, self._drives = process, drives
        self._began_ns = 0
        self._now_s = self._tick_s = 0.0
        self._latest: dict[str, Reading] = {}
        self._names: list[str] = []
        self._told: dict[str, Any] = {}
        self._wishes: list[Wish] = []
        self._pushes: list[Push] = []
        self._timing = StepTiming()

    def begin(self, robot: Robot, header: Mapping[str, str]) -> None:
        """Show what does not change."""
        self._began_ns = time.monotonic_ns()
        self._names = list(reporting(robot.devices))
        self._process.show(
            {
                "kind": "sheet",
                "title": header["title"],
                "robot": robot.robot,
                "host": header["host"],
                "about": {},
                "acts": list(DRIVING_ACTS if self._drives else ACTS),
                "drives": self._drives,
            }
        )

    def _hear_people(self) -> None:
        for one in self._process.heard():
            if "word" in one:
                self._wishes.append(Wish(one["word"], one["whose"]))
            elif self._drives:
                self._pushes.append(Push(one["push"], one["viewer"], one["whose"], one["stamp"] * MS))

    def wishes(self) -> Sequence[Wish]:
        """Return what people want."""
        self._hear_people()
        wishes, self._wishes = self._wishes, []
        return wishes

    def pushes(self) -> Sequence[Push]:
        """Return the words of those who drive."""
        self._hear_people()
        pushes, self._pushes = self._pushes, []
        return pushes

    def hear(self, now_ns: int, stands: Standing, new: Readings, faults: Mapping[str, str]) -> None:
        """Take in what came, and show what is due."""
        self._latest.update(new)
        self._timing.step(now_ns)
        now_s = time.monotonic()
        if self._drives and now_s >= self._tick_s:
            self._tick_s = now_s + TICK_EVERY_S
            self._process.show_or_drop({"kind": "tick", "stamp": now_ns // MS})
        if now_s >= self._now_s:
            self._now_s = now_s + NOW_EVERY_S
            self._process.show_or_drop(self._now(now_ns, stands, faults))

    def _now(self, now_ns: int, stands: Standing, faults: Mapping[str, str]) -> dict[str, Any]:
        camera = self._latest.get("camera")
        return {
            "kind": "now",
            "t": self._seconds(now_ns),
            "phase": stands.phase,
            "may_enable": True,
            "cause": stands.cause,
            "state": "",
            "devices": [self._device(name, now_ns, faults.get(name, "")) for name in self._names],
            "seen": recognised(camera.value) if camera is not None else [],
            "timing": self._timing.facts(),
            **self._told,
        }

    def _device(self, name: str, now_ns: int, fault: str) -> list[Any]:
        latest = self._latest.get(name)
        health = "faulty" if fault else "ok" if latest is not None else "overdue"
        if latest is None:
            return [name, health, fault, None, ""]
        return [name, health, fault, round((now_ns - latest.taken_ns) * 1e-9, 2), reading_words(name, latest.value)]

    def _seconds(self, now_ns: int) -> float:
        return round((now_ns - self._began_ns) * 1e-9, 2)

    def note(self, now_ns: int, event: Event) -> None:
        """Show an event."""
        what, text = event_words(event)
        self._process.show({"kind": "event", "t": self._seconds(now_ns), "what": what, "text": text})

    def tell(self, **facts: Any) -> None:
        """Show what else there is."""
        self._told |= facts

    def end(self, text: str) -> None:
        """Say how it ended."""
        self._process.show({"kind": "end", "text": text})
