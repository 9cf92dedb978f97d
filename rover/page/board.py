"""What the page's process knows of the run: enough for whoever opens the page now to see what has been so far.

Messages of the runtime come in as JSON, told apart by ``kind``: ``sheet`` (what does not change), ``now`` (often, only
the newest counts), ``errand`` (what the robot knows of its field), ``event`` (each counts), ``end``; and pictures.
"""

import json
import math
from dataclasses import dataclass, field
from typing import Any

from rover.page.plan import drawn_plan

STEP = 0.02
"""A point of the trail is kept where the robot has gone so far (m) since the last one, or is at something else."""
MOST_POINTS, MOST_EVENTS = 6000, 400

Message = str | bytes


@dataclass
class Seen:
    """How far one viewer has been told: numbers of the board's."""

    sheet: int = 0
    event: int = 0
    errand: int = 0
    now: int = 0
    tick: int = 0
    exits: int = 0
    picture: int = 0


@dataclass
class Board:
    """The latest of everything, with a number that counts up for each.

    Attributes:
        has_ended: the runtime has said how it ended, or is gone.
        acts: what may be asked for.
        drives: people may drive.
    """

    has_ended: bool = False
    acts: frozenset[str] = frozenset()
    drives: bool = False
    _sheet: dict[str, Any] = field(default_factory=dict)
    _events: list[str] = field(default_factory=list)
    _graph: str = ""
    _errand: str = ""
    _now: str = ""
    _tick: str = ""
    _exits: str = ""
    _picture: bytes = b""
    _trail: list[tuple[float, float, str]] = field(default_factory=list)
    _latest: Seen = field(default_factory=Seen)

    def take(self, message: bytes) -> None:
        """Take a message of the runtime in."""
        if not message.startswith(b"{"):
            self._picture = message
            self._latest.picture += 1
            return
        text = message.decode()
        facts = json.loads(text)
        match facts["kind"]:
            case "sheet":
                self._begin(facts)
            case "now":
                self._now = text
                self._latest.now += 1
                self._go_to(facts)
            case "tick":
                self._tick = text
                self._latest.tick += 1
            case "exits":
                self._exits = text
                self._latest.exits += 1
            case "errand":
                self._errand = text
                self._latest.errand += 1
            case "graph":
                self._graph = facts["svg"]
                self._latest.sheet += 1
            case "event":
                self._note(text)
            case "end":
                self.end(facts["text"])

    def _begin(self, facts: dict[str, Any]) -> None:
        self.acts = frozenset(facts["acts"])
        self.drives = bool(facts.get("drives"))
        self._sheet = facts | {"plan": drawn_plan(facts)}
        self._trail.clear()
        self._latest.sheet += 1

    def _note(self, text: str) -> None:
        self._events.append(text)
        self._latest.event += 1
        if len(self._events) > MOST_EVENTS:
            del self._events[0]

    def _go_to(self, facts: dict[str, Any]) -> None:
        pose, state = facts.get("pose"), str(facts.get("state", "")).partition("/")[0]
        if pose is None or None in pose[:2]:
            return
        x, y = pose[:2]
        if self._trail and self._trail[-1][2] == state and math.dist(self._trail[-1][:2], (x, y)) < STEP:
            return
        self._trail.append((x, y, state))
        if len(self._trail) > MOST_POINTS:
            self._trail = self._trail[::2]

    def end(self, text: str) -> None:
        """Note that the run has ended, and how."""
        if not self.has_ended:
            self.has_ended = True
            self._note(json.dumps({"kind": "end", "text": text}))

    def news(self, seen: Seen) -> list[Message]:
        """Return what a viewer has not been told, and count it as told; of what is fleeting only the newest."""
        latest, told = self._latest, []
        if seen.sheet != latest.sheet:
            told.append(json.dumps(self._sheet | {"graph": self._graph, "trail": self._trail}))
            seen.event = 0
        missed = min(latest.event - seen.event, len(self._events))
        told += self._events[len(self._events) - missed :]
        if seen.errand != latest.errand:
            told.append(self._errand)
        if seen.now != latest.now:
            told.append(self._now)
        if seen.exits != latest.exits:
            told.append(self._exits)
        if seen.tick != latest.tick:
            told.append(self._tick)
        news: list[Message] = [*told]
        if seen.picture != latest.picture:
            news.append(self._picture)
        seen.sheet, seen.event, seen.errand = latest.sheet, latest.event, latest.errand
        seen.now, seen.exits = latest.now, latest.exits
        seen.tick, seen.picture = latest.tick, latest.picture
        return news
