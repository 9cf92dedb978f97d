"""What the page shows of a run: taken from the core after a step, and often only while somebody watches.

The loop's thread does this, so it costs little: the field once, the robot ten times a second, exits and what it knows
of its field twice, each in a step of its own, and each event as it comes.
"""

import math
import time
from collections.abc import Mapping, Sequence
from typing import Any
from xml.etree.ElementTree import tostring

from rover.core import Core, StepReadings, StepRecord
from rover.devices.families import reporting
from rover.devices.readings import Reading
from rover.estimate.ellipse import ellipse_95
from rover.events import HealthChange, Note
from rover.motion.outline import outline_of
from rover.page.pictures import PictureMaker
from rover.page.process import PageProcess
from rover.page.timing import StepTiming
from rover.page.words import event_words, exit_facts, reading_words, recognised, rounded
from rover.report.behaviour_graph import behaviour_svg
from rover.session.watched import BEGUN, Page, Waiting, Wish

NOW_EVERY_S, SELDOM_EVERY_S = 0.1, 0.5
UNWATCHED_EVERY_S = 0.5
"""So often the trail goes on while nobody watches."""
RUN_ACTS = ("enable", "hold", "reset", "go-on", "yes", "no")


class RunPage(Page):
    """Shows a run.

    Args:
        process: that serves the page.
        about: what is shown of the run besides: seed, pace.
    """

    def __init__(self, process: PageProcess, about: Mapping[str, str]) -> None:
        self._process = process
        self._about = about
        self._began_ns = self._entered_ns = 0
        self._now_s = self._seldom_s = 0.0
        self._errand_is_due = False
        self._state = self._question = ""
        self._latest: dict[str, Any] = {}
        self._health: dict[str, tuple[str, str]] = {}
        self._errand: dict[str, Any] = {}
        self._timing = StepTiming()
        self._pictures: PictureMaker | None = None

    def begin(self, core: Core, header: Mapping[str, str]) -> None:
        """Show what does not change."""
        known = core.known
        robot, errand = known.robot, known.errand
        self._pictures = PictureMaker(robot, errand.kinds)
        self._health = dict.fromkeys(reporting(robot.devices), ("overdue", ""))
        self._timing = StepTiming(1.0 / robot.loop)
        parts = {
            name: [list(part) for part in outline_of(robot, errand.widest, loaded=loaded).parts]
            for name, loaded in (("parts", False), ("loaded_parts", True))
        }
        self._process.show(
            {
                "kind": "sheet",
                "title": errand.errand,
                "robot": robot.robot,
                "behaviour": core.engine.graph.title,
                "host": header.get("host", ""),
                "about": dict(self._about),
                "field": header.get("field", "{}"),
                "kinds": header.get("kinds", "{}"),
                "states": [path for path, state in core.engine.graph.states.items() if state.final is None],
                "acts": list(RUN_ACTS),
                "drives": False,
                **parts,
            }
        )
        graph = behaviour_svg(core.engine.graph, 1)
        for style in graph.findall("style"):
            graph.remove(style)  # the page has its own, and takes none from within
        self._process.show({"kind": "graph", "svg": tostring(graph, encoding="unicode")})

    def see(self, frame: Reading | None) -> None:
        """Have a picture made of the newest frame, while somebody watches, and show the one that is ready."""
        assert self._pictures is not None
        if made := self._pictures.made():
            self._process.show_picture(made)
        if frame is not None and self._process.viewers:
            self._pictures.see(frame)

    def wishes(self) -> Sequence[Wish]:
        """Return what people at the page want."""
        return [Wish(one["word"], one["whose"]) for one in self._process.heard() if "word" in one]

    def take(self, core: Core, given: StepReadings, decided: StepRecord, waiting: Waiting = BEGUN) -> None:
        """Take a step in; show what is due."""
        self._began_ns = self._began_ns or given.now_ns
        self._latest.update((name, reading.value) for name, reading in given.new)
        self._timing.step(given.now_ns)
        if decided.state != self._state:
            self._state, self._entered_ns, self._question = decided.state, given.now_ns, ""
        for event in decided.events:
            self._take_event(event, given.now_ns)
        now_s = time.monotonic()
        is_watched = self._process.viewers > 0
        if decided.ending is not None:
            self._process.show(self._now(core, decided, waiting))
            self._show_errand(core)
        elif is_watched and now_s >= self._seldom_s:
            self._seldom_s = now_s + SELDOM_EVERY_S  # in steps of their own, so that none takes all
            self._show_exits(core)
        elif is_watched and self._errand_is_due:
            self._errand_is_due = False
            self._show_errand(core)
        elif now_s >= self._now_s:
            self._now_s = now_s + (NOW_EVERY_S if is_watched else UNWATCHED_EVERY_S)
            self._process.show_or_drop(self._now(core, decided, waiting))

    def _take_event(self, event: Any, now_ns: int) -> None:
        match event:
            case HealthChange(device, health, why):
                self._health[device] = (health.value, why)
            case Note("question", text):
                self._question = text
        what, text = event_words(event)
        self._process.show({"kind": "event", "t": self._seconds(now_ns), "what": what, "text": text})

    def _seconds(self, now_ns: int) -> float:
        return round((now_ns - self._began_ns) * 1e-9, 2)

    def _now(self, core: Core, decided: StepRecord, waiting: Waiting) -> dict[str, Any]:
        known, stop, now_ns = core.known, core.stop, decided.now_ns
        xx, xy, _, yy, _, tt = core.covariance()
        ellipse = ellipse_95(xx, xy, yy)
        pose = known.pose
        return {
            "kind": "now",
            "t": self._seconds(now_ns),
            "phase": stop.phase.name.lower().replace("_", " "),
            "cause": stop.cause,
            "waits_for": waiting.what,
            "may_enable": waiting.may_enable,
            "question": self._question,
            "state": decided.state,
            "since": self._seconds(now_ns) - self._seconds(self._entered_ns),
            "pose": [rounded(pose.x, 3), rounded(pose.y, 3), rounded(math.degrees(pose.heading), 1)],
            "sigma": rounded(math.degrees(math.sqrt(max(tt, 0.0))), 1),
            "ellipse": [rounded(ellipse.major_m, 3), rounded(ellipse.minor_m, 3), rounded(ellipse.angle_rad, 3)],
            "loaded": known.loaded,
            "duties": [rounded(decided.drive.left, 2), rounded(decided.drive.right, 2)],
            "devices": self._devices(core),
            "seen": recognised(self._latest.get("camera")),
            "timing": self._timing.facts(),
        }

    def _devices(self, core: Core) -> list[list[Any]]:
        """Return (name, health, why, age of the last report in s, what it said) of each device that reports."""
        signals, now_ns, rows = core.known.signals, core.known.now_ns, []
        for name, (health, why) in self._health.items():
            taken_ns = getattr(signals, f"{name}_t", None)
            age = None if not taken_ns else round((now_ns - taken_ns) * 1e-9, 2)
            said = reading_words(name, self._latest[name]) if name in self._latest else ""
            rows.append([name, health, why, age, said])
        return rows

    def _show_exits(self, core: Core) -> None:
        """Show what is waited for; of all that is shown this takes longest, so it is seldom done."""
        exits = [exit_facts(one, core.known.now_ns) for one in core.awaited()]
        self._process.show_or_drop({"kind": "exits", "state": core.engine.path, "exits": exits})
        self._errand_is_due = True

    def _show_errand(self, core: Core) -> None:
        """Show what the robot knows of its field, where that is news."""
        known, ledger, account = core.known, core.known.ledger, core.account()
        chosen = known.targets.chosen
        facts = {
            "kind": "errand",
            "targets": [_target(one, one is chosen) for one in known.targets.objects],
            "met": [[rounded(met.x, 2), rounded(met.y, 2), met.is_touched] for met in ledger.obstacles.met],
            "filled": [[one.slot.x, one.slot.y, one.kind] for one in ledger.filled],
            "standing": [[rounded(one.x, 2), rounded(one.y, 2), one.kind] for one in ledger.standing],
            "carried": ledger.carried,
            "delivered": account.counted,
            "believed": account.believed,
            "expected": known.errand.expect,
        }
        if facts != self._errand:
            self._errand = facts
            self._process.show(facts)

    def end(self, text: str) -> None:
        """Say how it ended."""
        self._process.show({"kind": "end", "text": text})


def _target(one: Any, is_chosen: bool) -> list[Any]:
    ellipse = ellipse_95(one.xx, one.xy, one.yy)
    axes = [rounded(ellipse.major_m, 2), rounded(ellipse.minor_m, 2), rounded(ellipse.angle_rad, 2)]
    return [one.kind, rounded(one.x, 2), rounded(one.y, 2), *axes, one.known, is_chosen, one.barred]
